"""What a set of recordings shows over the arc, as a comparison takes it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.errors import NotComparable
from analysis.reference.evidence import COMPARED, RecordingEvidence
from analysis.target import Target

Floats = NDArray[np.float64]

LEAST_SHARE = 0.5
"""A mean over repetitions stands where at least this share of them is known."""


@dataclass(frozen=True)
class Performance:
    """Repetitions of one person or several, on one grid.

    Attributes:
        label: What to call them.
        people: Whose each repetition is, shape (repetitions,).
        values: Shape (repetitions, quantities, ways, bins), NaN where not known.
        u: Standard uncertainty of the same, NaN where none is known.
        measures: Of each repetition, by key of `COMPARED`.
        elevation_deg: Shape (bins,).
        recordings: What it rests on: their facts.
        recorded_in: Identifier of the recording of each repetition, shape (repetitions,).
        target: What all were measured against.
    """

    label: str
    people: tuple[str, ...]
    values: Floats
    u: Floats
    measures: tuple[Mapping[str, float | None], ...]
    elevation_deg: Floats
    recordings: tuple[Mapping[str, object], ...]
    recorded_in: tuple[str, ...]
    target: Target

    @property
    def persons(self) -> tuple[str, ...]:
        """Each person once, in order."""
        return tuple(dict.fromkeys(self.people))

    def of(self, persons: Collection[str]) -> Performance:
        """Return what some of the persons did."""
        rows = [row for row, who in enumerate(self.people) if who in persons]
        return replace(
            self,
            people=tuple(self.people[row] for row in rows),
            values=self.values[rows],
            u=self.u[rows],
            measures=tuple(self.measures[row] for row in rows),
            recordings=tuple(one for one in self.recordings if one["person"] in persons),
            recorded_in=tuple(self.recorded_in[row] for row in rows),
        )

    def mean_of(self, person: str) -> Floats:
        """Return the mean curves of one person, shape (quantities, ways, bins)."""
        own = self.values[[who == person for who in self.people]]
        return mean_where_known(own)

    def person_means(self) -> Floats:
        """Return mean curves, shape (persons, quantities, ways, bins)."""
        return np.stack([self.mean_of(person) for person in self.persons])

    def mean(self) -> Floats:
        """Return the mean of the persons' means, shape (quantities, ways, bins)."""
        return mean_where_known(self.person_means())

    def measured(self, key: str) -> list[float]:
        """Return a measure of each repetition that has it."""
        return [value for one in self.measures if (value := one[key]) is not None]

    def measured_by_person(self, key: str) -> dict[str, float]:
        """Return the mean of a measure over the repetitions of each person who has it."""
        found: dict[str, list[float]] = {}
        for who, one in zip(self.people, self.measures, strict=True):
            value = one[key]
            if value is not None:
                found.setdefault(who, []).append(value)
        return {who: float(np.mean(values)) for who, values in found.items()}


def performance_of(recordings: Iterable[RecordingEvidence], label: str = "") -> Performance:
    """Return what recordings show together.

    Args:
        recordings: Measured against one target, in one way.
        label: What to call them; empty takes the codes of the people.

    Raises:
        NotComparable: They do not fit together, or hold no finished repetition.
    """
    given = sorted(recordings, key=lambda one: (one.person, one.facts["started_utc"], one.name))
    curves = [one for recording in given for one in recording.curves]
    if not curves:
        names = ", ".join(one.name for one in given) or "no recording"
        raise NotComparable(f"{names}: no finished repetition to compare")
    _check_once(given)
    for one in given:
        if one.target != given[0].target:
            raise NotComparable(
                f"{one.name} and {given[0].name} have different targets; name one with --target"
            )
        if one.settings != given[0].settings:
            raise NotComparable(f"{one.name} and {given[0].name} were analysed in different ways")
    return Performance(
        label=label or ", ".join(dict.fromkeys(one.person or "no code" for one in given)),
        people=tuple(one.person for one in curves),
        values=np.stack([one.values for one in curves]),
        u=np.stack([one.u for one in curves]),
        measures=tuple(one for recording in given for one in recording.measures),
        elevation_deg=curves[0].elevation_deg,
        recordings=tuple(dict(one.facts) for one in given),
        recorded_in=tuple(str(one.facts["uuid"]) for one in given for _ in one.curves),
        target=given[0].target,
    )


def _check_once(given: Iterable[RecordingEvidence]) -> None:
    """Refuse a copy: it would count twice, as if its repetitions were independent."""
    seen: dict[str, str] = {}
    for one in given:
        uuid = str(one.facts["uuid"])
        if uuid in seen:
            raise NotComparable(f"{seen[uuid]} and {one.name} are the same recording; name it once")
        seen[uuid] = one.name


def compared_keys() -> tuple[str, ...]:
    """Return the keys of the measures that are compared."""
    return tuple(key for key, _ in COMPARED)


def mean_where_known(values: Floats) -> Floats:
    """Return the mean over the first axis, NaN where too few are known."""
    known = np.isfinite(values)
    count = known.sum(axis=0)
    total = np.where(known, values, 0.0).sum(axis=0)
    enough = count >= LEAST_SHARE * len(values)
    mean = np.full(total.shape, np.nan)
    np.divide(total, count, out=mean, where=enough & (count > 0))
    return mean
