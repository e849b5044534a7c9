"""After beside before: what differs, by how much, and of whom that can be said.

Of several people each is a pair of means. Of one person the sessions are what scatters by chance
from one occasion to the next: repetitions of one session share its day, so that their number makes
no difference between two days certain. With one occasion before and one after the scatter between
occasions is not known; then a difference is told of these occasions, never of the person.
All measures are tested as one family, and told only where they differ by an amount worth telling.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from analysis.comparison.effect_sizes import (
    Difference,
    difference,
    holm,
    paired_difference,
    pooled_difference,
)
from analysis.comparison.performance import Performance, compared_keys
from analysis.reference.arc_curves import QUANTITIES
from analysis.study.findings import wanted
from analysis.tidy.practice import Head, placed

ALPHA = 0.05
"""Chance of any measure being told where none differs."""
REACH = 1.96
"""Two rigs that are right may differ by so many standard uncertainties of their difference."""
U_FROM: Mapping[str, str] = {
    "azimuth_error_mean_deg": "azimuth_error_deg",
    "superior_angle_mean_deg": "superior_angle_deg",
    "superior_angle_p95_deg": "superior_angle_deg",
    "force_mean_N": "force_N",
}
"""Which quantity's standard uncertainty a measure has."""
NOBODY = "before and after are of different people"


class Basis(StrEnum):
    """What scatters, and so whom a difference can be said of."""

    PEOPLE = "people: the mean of each before and after"
    SESSIONS = "sessions of one person: the mean of each"
    OCCASIONS = "repetitions of one occasion before and one after: of these occasions only"


@dataclass(frozen=True, slots=True)
class Change:
    """One measure before and after.

    Attributes:
        key: Of the measure.
        before: Mean; None if no repetition has it.
        after: Likewise.
        difference: After minus before, of the people or the person; None where no more than two
            occasions are known.
        on_occasions: After minus before, of two occasions by their repetitions; None otherwise.
        p: Chance of it where nothing differs, all measures together (Holm); None with neither.
        least: Smallest difference worth telling, in the unit of the measure.
        told: It lies beyond chance and is worth telling.
        reason: Why there is neither; empty otherwise.
    """

    key: str
    before: float | None
    after: float | None
    difference: Difference | None
    on_occasions: Difference | None
    p: float | None
    least: float
    told: bool
    reason: str

    @property
    def found(self) -> Difference | None:
        """Whichever difference there is."""
        return self.difference or self.on_occasions


@dataclass(frozen=True, slots=True)
class Changes:
    """After beside before.

    Attributes:
        basis: What scatters; None if nobody is on both sides.
        counts: How many people or sessions before and after.
        people: Who is on both sides, by code.
        one_sitting: Before and after belong to one session.
        only_before: People left out, as they are on one side only.
        only_after: Likewise.
        measures: One by one.
    """

    basis: Basis | None
    counts: tuple[int, int]
    people: tuple[str, ...]
    one_sitting: bool
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]
    measures: tuple[Change, ...]


@dataclass(frozen=True)
class Sides:
    """The same people before and after, and the session that each recording belongs to."""

    before: Performance
    after: Performance
    session_of: Mapping[str, int]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]

    @property
    def sessions(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Numbers of the sessions of one person, before and after."""
        return (
            tuple(sorted({self.session_of[uuid] for uuid in self.before.recorded_in})),
            tuple(sorted({self.session_of[uuid] for uuid in self.after.recorded_in})),
        )

    @property
    def basis(self) -> Basis | None:
        """What scatters."""
        if not self.after.people:
            return None
        if len(self.after.persons) > 1:
            return Basis.PEOPLE
        return Basis.OCCASIONS if max(map(len, self.sessions)) == 1 else Basis.SESSIONS

    def session_rows(self, one: Performance) -> list[list[int]]:
        """Return the rows of the repetitions of each session, in order."""
        rows: dict[int, list[int]] = {}
        for row, uuid in enumerate(one.recorded_in):
            rows.setdefault(self.session_of[uuid], []).append(row)
        return [own for _, own in sorted(rows.items())]


def sides_of(before: Performance, after: Performance) -> Sides:
    """Return those who are on both sides.

    Raises:
        StudyError: A recording has no date that can be read.
    """
    both = set(before.persons) & set(after.persons)
    heads = [
        Head(str(one["uuid"]), "", str(one["person"]), str(one["started_utc"]), "", "", 0)
        for one in (*before.recordings, *after.recordings)
    ]
    return Sides(
        before=before.of(both),
        after=after.of(both),
        session_of={place.name: place.session for place in placed(heads)},
        only_before=tuple(who for who in before.persons if who not in both),
        only_after=tuple(who for who in after.persons if who not in both),
    )


def changes_of(sides: Sides) -> Changes:
    """Return after beside before, measure by measure."""
    basis, sessions = sides.basis, sides.sessions
    people = len(sides.after.persons)
    return Changes(
        basis=basis,
        counts=(people, people) if basis is Basis.PEOPLE else (len(sessions[0]), len(sessions[1])),
        people=sides.after.persons,
        one_sitting=basis is not Basis.PEOPLE and bool(set(sessions[0]) & set(sessions[1])),
        only_before=sides.only_before,
        only_after=sides.only_after,
        measures=tuple(_together([_change(sides, basis, key) for key in compared_keys()])),
    )


def _change(sides: Sides, basis: Basis | None, key: str) -> Change:
    own, reason = None, NOBODY
    try:
        if basis is not None:
            own, reason = _difference(sides, basis, key), ""
    except ValueError as cause:
        reason = str(cause)
    of_occasions = basis is Basis.OCCASIONS
    return Change(
        key=key,
        before=_mean(sides.before, key),
        after=_mean(sides.after, key),
        difference=None if of_occasions else own,
        on_occasions=own if of_occasions else None,
        p=None,
        least=_least(sides, key),
        told=False,
        reason=reason,
    )


def _difference(sides: Sides, basis: Basis, key: str) -> Difference:
    """Return after minus before.

    Raises:
        ValueError: There is none; the text says why.
    """
    before, after = sides.before, sides.after
    if basis is Basis.OCCASIONS:
        return difference(before.measured(key), after.measured(key))
    if basis is Basis.SESSIONS:
        return pooled_difference(*(_session_means(sides, one, key) for one in (before, after)))
    earlier, later = before.measured_by_person(key), after.measured_by_person(key)
    both = [who for who in earlier if who in later]
    return paired_difference([earlier[who] for who in both], [later[who] for who in both])


def _session_means(sides: Sides, one: Performance, key: str) -> list[float]:
    found = [
        [value for row in rows if (value := one.measures[row][key]) is not None]
        for rows in sides.session_rows(one)
    ]
    return [float(np.mean(values)) for values in found if values]


def _together(changes: list[Change]) -> Iterator[Change]:
    """Yield the changes with what all of them together allow to say."""
    tested = [one for one in changes if one.found is not None]
    chances = iter(holm([one.found.p for one in tested if one.found is not None]))
    for one in changes:
        if one.found is None:
            yield one
            continue
        p = next(chances)
        yield replace(one, p=p, told=p < ALPHA and abs(one.found.mean.value) >= one.least)


def _least(sides: Sides, key: str) -> float:
    """Return the smallest difference worth telling.

    What one rig has wrong it has wrong before and after; between two rigs it does not cancel.
    """
    rigs = {str(one["rig"]) for one in (*sides.before.recordings, *sides.after.recordings)}
    index = next((i for i, one in enumerate(QUANTITIES) if one.key == U_FROM.get(key)), None)
    if len(rigs) < 2 or index is None:
        return wanted(key)
    u = [one.u[:, index] for one in (sides.before, sides.after)]
    known = [float(np.nanmean(one)) for one in u if np.isfinite(one).any()]
    return max(wanted(key), REACH * float(np.linalg.norm(known)) if len(known) == 2 else 0.0)


def _mean(one: Performance, key: str) -> float | None:
    own = list(one.measured_by_person(key).values())
    return float(np.mean(own)) if own else None
