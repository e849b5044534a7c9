"""Groups and conditions side by side; people are the sample, never their repetitions.

Repetitions of one person are not independent: each person counts with one value, their mean.
Groups are compared between people, conditions within them: tests against the last of practice
before them, for the mean of all practice holds the learning too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import stats

from analysis.comparison.effect_sizes import Difference, difference, paired_difference
from analysis.study.learning import LAST, Tried, before_test
from analysis.tidy.practice import BASELINE, PRACTICE, RETENTION, TRANSFER

LAST_PRACTICE = "last practice"


@dataclass(frozen=True, slots=True)
class Contrast:
    """Two groups of people, or two conditions of the same people.

    Attributes:
        at: What of a person is compared, of groups: last practice, retention or transfer; empty
            of conditions.
        first: Name of the one.
        second: Name of the other.
        means: Mean over people of each.
        people: How many people of each; of conditions those who had both.
        within: The same people.
        difference: Second minus first; None where there is none to be told.
        p: Chance of so large a difference if there is none (t test, of groups Welch's).
        p_of_all: The same, corrected for all comparisons of the study.
        reason: Why there is none; empty otherwise.
    """

    at: str
    first: str
    second: str
    means: tuple[float, float]
    people: tuple[int, int]
    within: bool
    difference: Difference | None
    p: float | None
    p_of_all: float | None
    reason: str


Values = Iterable[tuple[str, str, float]]
"""Of each repetition: person, group, value; NaN is left out."""
People = Mapping[str, Sequence[Tried]]
"""Repetitions of each person in order of time."""


def between_groups(values: Values, at: str = "") -> list[Contrast]:
    """Return every pair of groups of people, by name.

    Args:
        values: As `Values` has them.
        at: As `Contrast.at`.
    """
    found = _person_means(values)
    return [
        _contrast(
            at, one, other, list(found[one].values()), list(found[other].values()), within=False
        )
        for one, other in combinations(sorted(found), 2)
    ]


def between_conditions(people: People) -> list[Contrast]:
    """Return what is planned to be compared within people, over those who had both.

    The last of practice against the test before it, and the tests of retention and transfer
    against the last of practice before them.
    """
    known = _known(people)
    contrasts = []
    for first, second, both in (
        (BASELINE, LAST_PRACTICE, _from_baseline),
        (LAST_PRACTICE, RETENTION, lambda tried: before_test(tried, RETENTION)),
        (LAST_PRACTICE, TRANSFER, lambda tried: before_test(tried, TRANSFER)),
    ):
        pairs = [(one, other) for one, other in map(both, known) if one and other]
        if pairs:
            before, after = ([_mean(pair[side]) for pair in pairs] for side in (0, 1))
            contrasts.append(_contrast("", first, second, before, after, within=True))
    return contrasts


def group_values(
    people: People, groups: Mapping[str, str]
) -> dict[str, list[tuple[str, str, float]]]:
    """Return what groups are compared by: the last of practice, and the tests.

    Args:
        people: Repetitions.
        groups: Group of each person.
    """
    parts: dict[str, Callable[[Sequence[Tried]], list[Tried]]] = {
        LAST_PRACTICE: last_practice,
        RETENTION: lambda tried: before_test(tried, RETENTION)[1],
        TRANSFER: lambda tried: before_test(tried, TRANSFER)[1],
    }
    known = {
        person: [one for one in tried if np.isfinite(one.value)] for person, tried in people.items()
    }
    return {
        at: [
            (person, groups[person], one.value)
            for person, tried in known.items()
            for one in part(tried)
        ]
        for at, part in parts.items()
    }


def last_practice(tried: Sequence[Tried]) -> list[Tried]:
    """Return the last of practice of a person, all values known."""
    return [one for one in tried if one.role == PRACTICE][-LAST:]


def _known(people: People) -> list[list[Tried]]:
    return [[one for one in tried if np.isfinite(one.value)] for _, tried in sorted(people.items())]


def _from_baseline(tried: Sequence[Tried]) -> tuple[list[Tried], list[Tried]]:
    return [one for one in tried if one.role == BASELINE], last_practice(tried)


def _mean(tried: Sequence[Tried]) -> float:
    return float(np.mean([one.value for one in tried]))


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
    at: str, first: str, second: str, one: list[float], other: list[float], *, within: bool
) -> Contrast:
    means, people = (float(np.mean(one)), float(np.mean(other))), (len(one), len(other))
    names = at, first, second
    try:
        found = (paired_difference if within else difference)(one, other)
    except ValueError as cause:
        return Contrast(*names, means, people, within, None, None, None, str(cause))
    p = stats.ttest_rel(one, other) if within else stats.ttest_ind(one, other, equal_var=False)
    return Contrast(*names, means, people, within, found, float(p.pvalue), None, "")
