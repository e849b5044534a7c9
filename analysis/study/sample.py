"""Which repetitions the statistics of a study rest on, and which are in the tables alone."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from analysis.errors import StudyError
from analysis.reference.evidence import COMPARED
from analysis.tidy.practice import PRACTICE, SET_ASIDE
from analysis.trial import PhaseName

PHASE_OF = {key: (phase or PhaseName.MOVEMENT).value for key, phase in COMPARED}
TRAINEES = "T"
"""What codes of trainees begin with."""
GROUP_COLUMNS = ("person", "group")


@dataclass(frozen=True, slots=True)
class Done:
    """One repetition of a study.

    Attributes:
        person: Code.
        group: Kind of person, or the group given.
        session: Number of the person's session.
        role: As in `analysis.tidy.practice`.
        condition: As labelled.
        practised: Repetitions of practice by then.
        values: The measures studied, NaN where not known.
        side: Of the rig.
        target: Short name of the target measured against.
    """

    person: str
    group: str
    session: int
    role: str
    condition: str
    practised: int
    values: Mapping[str, float]
    side: str = "right"
    target: str = ""

    @property
    def kind(self) -> str:
        """What the code begins with: the kind of person."""
        return self.person[:1]


@dataclass
class Gathering:
    """Takes the rows of the main table and keeps what the statistics need.

    Attributes:
        done: One for each repetition that counts, in the order of the table.
        unfinished: How many do not count for they were not finished.
        set_aside: How many do not count for they were set aside.
        nameless: How many do not count for nobody knows whose they are.
    """

    done: list[Done] = field(default_factory=list)
    unfinished: int = 0
    set_aside: int = 0
    nameless: int = 0
    _open: dict[str, Any] = field(default_factory=dict)

    def __call__(self, row: Mapping[str, Any]) -> None:
        """Take a row; the phases of a repetition follow each other, the movement last."""
        for key, phase in PHASE_OF.items():
            if row["phase"] == phase:
                self._open[key] = np.nan if row[key] is None else float(row[key])
        if row["phase"] != PhaseName.MOVEMENT.value:
            return
        values, self._open = self._open, {}
        if row["role"] == SET_ASIDE:
            self.set_aside += 1
        elif not row["complete"]:
            self.unfinished += 1
        elif not row["person"]:
            self.nameless += 1
        else:
            self.done.append(
                Done(
                    row["person"], row["group"], row["session"], row["role"],
                    row["condition"] or "", row["practised"], values,
                    row["side"], row["target"],
                )
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sample:
    """What the statistics rest on.

    Attributes:
        done: The repetitions that count, all against one target.
        kind: What the codes of those begin with whose variability is told.
        target: Short name of the target.
        people: Codes of who has a repetition that counts.
        absent: Codes of who has none, though there are recordings.
        other_targets: Repetitions measured against another target, so not counted.
        unfinished: As in `Gathering`.
        set_aside: As in `Gathering`.
        nameless: As in `Gathering`.
        nameless_recordings: Recordings without a person's code.
        sides: How many repetitions of practice of that kind of people on each side.
        ungrouped: Codes that were given no group while others were.
        unknown: Codes that were given a group and have no recording.
    """

    done: tuple[Done, ...]
    kind: str
    target: str
    people: tuple[str, ...]
    absent: tuple[str, ...]
    other_targets: int
    unfinished: int
    set_aside: int
    nameless: int
    nameless_recordings: int
    sides: Mapping[str, int]
    ungrouped: tuple[str, ...]
    unknown: tuple[str, ...]


def sample_of(
    gathered: Gathering, persons: Sequence[str], groups: Mapping[str, str] = MappingProxyType({})
) -> Sample:
    """Return what counts: of several targets the repetitions of the one most are measured against.

    Args:
        gathered: Every row seen.
        persons: Code of each recording.
        groups: Group of each person, if any was given.
    """
    targets = Counter(one.target for one in gathered.done)
    target = targets.most_common(1)[0][0] if targets else ""
    done = tuple(one for one in gathered.done if one.target == target)
    people = {one.person for one in done}
    kind = studied_kind(done)
    sides = Counter(one.side for one in done if one.role == PRACTICE and one.kind == kind)
    return Sample(
        done=done,
        kind=kind,
        target=target,
        people=tuple(sorted(people)),
        absent=tuple(sorted(set(persons) - people - {""})),
        other_targets=len(gathered.done) - len(done),
        unfinished=gathered.unfinished,
        set_aside=gathered.set_aside,
        nameless=gathered.nameless,
        nameless_recordings=sum(not one for one in persons),
        sides=dict(sorted(sides.items())),
        ungrouped=tuple(sorted(people - groups.keys())) if groups else (),
        unknown=tuple(sorted(groups.keys() - set(persons))),
    )


def studied_kind(done: Iterable[Done]) -> str:
    """Return whose variability is told: the trainees', or without any of the kind with most people.

    Experts among them would count as spread between trainees.
    """
    kinds = Counter(person[:1] for person in sorted({one.person for one in done}))
    if TRAINEES in kinds or not kinds:
        return TRAINEES
    return kinds.most_common(1)[0][0]


def read_groups(path: Path) -> dict[str, str]:
    """Return the group of each person from a table with the columns ``person`` and ``group``.

    Raises:
        StudyError: It cannot be read, lacks a column or a value, or names a person twice.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = csv.DictReader(file)
            missing = [name for name in GROUP_COLUMNS if name not in (rows.fieldnames or ())]
            if missing:
                raise StudyError(
                    f"{path}: has no column {missing[0]!r}; the first line must be person,group"
                )
            pairs = [tuple((row[name] or "").strip() for name in GROUP_COLUMNS) for row in rows]
    except (OSError, UnicodeDecodeError, csv.Error) as cause:
        raise StudyError(f"{path}: cannot be read as a table of groups: {cause}") from cause
    found: dict[str, str] = {}
    for number, (person, group) in enumerate(pairs, 1):
        if not person or not group:
            raise StudyError(f"{path}: row {number} lacks a person or a group; fill it in")
        if person in found:
            raise StudyError(f"{path}: row {number} names {person} again; leave one of the rows")
        found[person] = group
    return found
