"""What a study found, in plain sentences and rows of text, for terminal and report alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.study.findings import MeasureFindings, wanted
from analysis.study.groups import Contrast
from analysis.study.laboratories import FACTOR
from analysis.study.learning import LAST
from analysis.study.sample import Done
from analysis.study.variance import Component, Components
from analysis.tidy.practice import BASELINE, PRACTICE
from ui.learned import learned
from ui.measure_words import NAMED, measure_name
from ui.numbers import shown
from ui.study_words import (
    amount,
    decimals_of,
    kind_of,
    people,
    sd_in_words,
    sentence,
    span,
    with_interval,
)

CHIEF = (
    "superior_angle_mean_deg", "off_axis_mean_deg", "force_mean_N", "force_cv_percent",
    "hold_coverage_percent",
)  # fmt: skip
"""The measures of the class overview."""
TOLD = 0.05
"""A corrected chance below tells a difference."""


@dataclass(frozen=True, slots=True)
class Overview:
    """A line of the class overview.

    Attributes:
        person: Code.
        sessions: How many.
        practised: Repetitions of practice.
        cells: For each of `CHIEF` the first and the last of practice.
    """

    person: str
    sessions: int
    practised: int
    cells: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ContrastWords:
    """A comparison in words.

    Attributes:
        who: Is compared.
        difference: With its interval, or why there is none.
        size: Standardised, with its interval.
        chances: If there is no difference: of this comparison, and corrected for all.
        told: Whether the corrected one tells a difference.
    """

    who: str
    difference: str
    size: str
    chances: str
    told: str


def overview(done: Sequence[Done]) -> list[Overview]:
    """Return a line for each person, by code."""
    people: dict[str, list[Done]] = {}
    for one in done:
        people.setdefault(one.person, []).append(one)
    return [_line(person, own) for person, own in sorted(people.items())]


def sentences(found: Sequence[MeasureFindings]) -> list[str]:
    """Return what the variability and the learning mean, the chief measures first."""
    chief = [one for one in found if one.key in CHIEF]
    return [*(line for one in chief for line in _variability(one)), *learned(chief)]


def component_in_words(key: str, part: Component) -> str:
    """Return the SD of a part; a part below zero is said to be so."""
    value, low, high = (sd_in_words(key, one) for one in (part.variance, part.low, part.high))
    if part.negative:
        return f"0 (estimate negative; up to {high})"
    return f"{value} {span(low, high)}"


def mixed_in_words(key: str, part: Component) -> str:
    """Return the SD of a part by the mixed model."""
    return "—" if part.reml is None else sd_in_words(key, part.reml)


def variance_in_words(key: str, variance: float) -> str:
    """Return the SD of a component; one below zero is said to be so."""
    if variance < 0.0:
        return "0 (estimate negative)"
    return amount(key, float(np.sqrt(variance)))


def contrast_in_words(key: str, one: Contrast) -> ContrastWords:
    """Return who is compared, and by how much they differ."""
    which = f"{people(one.people[0])}, each with both"
    if not one.within:
        which = f"{one.people[0]} and {people(one.people[1])}; {one.at}"
    who = f"{kind_of(one.second)} minus {kind_of(one.first)} ({which})"
    if one.difference is None or one.p is None or one.p_of_all is None:
        return ContrastWords(who, one.reason, "—", "—", "—")
    size = one.difference.standardised
    return ContrastWords(
        who,
        with_interval(one.difference.mean, decimals_of(key), sign="+"),
        with_interval(size, 1, sign="+"),
        f"{chance(one.p)}, {chance(one.p_of_all)}",
        "yes" if one.p_of_all < TOLD else "no",
    )


def chance(p: float) -> str:
    """Return a chance in words."""
    return "below 0.001" if p < 0.001 else shown(p, 3)


def plan_in_words(one: MeasureFindings) -> tuple[str, str]:
    """Return how many repetitions, and how many sessions of ten, a precision takes."""
    if one.plan is None:
        return "—", "—"
    many = "over 1000"
    sessions = many if one.plan.sessions is None else str(one.plan.sessions)
    if one.variability is not None and one.variability.session is None:
        sessions = "not known: nobody had two sessions"
    return (many if one.plan.repetitions is None else str(one.plan.repetitions)), sessions


def _line(person: str, own: Sequence[Done]) -> Overview:
    practice = [one for one in own if one.role == PRACTICE]
    first = [one for one in own if one.role == BASELINE] or practice[:LAST]
    return Overview(
        person=person,
        sessions=len({one.session for one in own}),
        practised=len(practice),
        cells=tuple((_mean(key, first), _mean(key, practice[-LAST:])) for key in CHIEF),
    )


def _mean(key: str, done: Sequence[Done]) -> str:
    values = [one.values[key] for one in done if np.isfinite(one.values[key])]
    return shown(float(np.mean(values)), NAMED[key][2]) if values else "—"


def _variability(one: MeasureFindings) -> Iterator[str]:
    found = one.variability
    if found is None:
        return
    name = sentence(NAMED[one.key][0])
    if not found.varies:
        yield f"{name}: no variability, every repetition has {amount(one.key, found.mean)}."
        return
    largest = max(found.parts, key=lambda part: part.variance)
    share = found.share_percent(largest)
    lies = LIES[largest.name]
    if found.session is None and largest is found.person:
        lies = ONE_DAY
    yield f"{name}: {share:.0f} % of the variability lies {lies}. {_means(one.key, found)}"


ONE_DAY = (
    "between people or between their days, which cannot be told apart: everybody came on one day"
)
LIES = {
    "person": "between people: teach the person",
    "session": "between the sessions of a person (learning is part of it): measure on several days",
    "repetition": "between repetitions of a session: more repetitions make a mean surer",
}


def _means(key: str, found: Components) -> str:
    days = ""
    if found.session is not None:
        days = f"on different days by less than {_limit(key, found.intermediate_sd)}; "
    return (
        "Two repetitions of one person on one day differ by less than "
        f"{_limit(key, found.repeatability_sd)} in 19 of 20 cases; {days}"
        f"of two people by less than {_limit(key, found.reproducibility_sd)}."
    )


def _limit(key: str, sd: float) -> str:
    """Return what two values differ by less than; not less than is shown at all."""
    return amount(key, max(FACTOR * sd, 10.0 ** -decimals_of(key)))


def title_of(key: str) -> str:
    """Return the name of a measure with its unit and phase."""
    return measure_name(key)


def wanted_in_words(key: str) -> str:
    """Return the precision that is planned for."""
    return f"± {amount(key, wanted(key))}"
