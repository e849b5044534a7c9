"""Groups and conditions side by side; people are the sample, never their repetitions.

Repetitions of one person are not independent: each person counts with one value, their mean.
Groups are compared between people, conditions within them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from analysis.comparison.effect_sizes import Difference, difference, paired_difference


@dataclass(frozen=True, slots=True)
class Contrast:
    """Two groups of people, or two conditions of the same people.

    Attributes:
        first: Name of the one.
        second: Name of the other.
        means: Mean over people of each.
        people: How many people of each; of conditions those who had both.
        within: The same people.
        difference: Second minus first; None where there is none to be told.
        reason: Why; empty otherwise.
    """

    first: str
    second: str
    means: tuple[float, float]
    people: tuple[int, int]
    within: bool
    difference: Difference | None
    reason: str


Values = Iterable[tuple[str, str, float]]
"""Of each repetition: person, group or condition, value; NaN is left out."""


def between_groups(values: Values) -> list[Contrast]:
    """Return every pair of groups of people, by name."""
    found = _person_means(values)
    return [
        _contrast(one, other, list(found[one].values()), list(found[other].values()), within=False)
        for one, other in combinations(sorted(found), 2)
    ]


def between_conditions(values: Values) -> list[Contrast]:
    """Return every pair of conditions, over the people who had both, by name."""
    found = _person_means(values)
    contrasts = []
    for one, other in combinations(sorted(found), 2):
        both = [who for who in found[one] if who in found[other]]
        if both:
            first, second = ([found[name][who] for who in both] for name in (one, other))
            contrasts.append(_contrast(one, other, first, second, within=True))
    return contrasts


def _person_means(values: Values) -> Mapping[str, Mapping[str, float]]:
    """Return the mean of each person by group and person."""
    gathered: dict[str, dict[str, list[float]]] = {}
    for person, group, value in values:
        if np.isfinite(value):
            gathered.setdefault(group, {}).setdefault(person, []).append(value)
    return {
        group: {person: float(np.mean(own)) for person, own in sorted(people.items())}
        for group, people in gathered.items()
    }


def _contrast(
    first: str, second: str, one: list[float], other: list[float], *, within: bool
) -> Contrast:
    means, people = (float(np.mean(one)), float(np.mean(other))), (len(one), len(other))
    try:
        found = (paired_difference if within else difference)(one, other)
    except ValueError as cause:
        return Contrast(first, second, means, people, within, None, str(cause))
    return Contrast(first, second, means, people, within, found, "")
