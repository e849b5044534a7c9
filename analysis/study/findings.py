"""Everything a study says of its measures: variability, reliability, learning, groups."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.comparison.effect_sizes import holm
from analysis.errors import StudyError
from analysis.study.crossed import Crossed, CrossedTable, crossed, crossed_table
from analysis.study.groups import (
    Contrast,
    between_conditions,
    between_groups,
    group_values,
)
from analysis.study.laboratories import Precision, nested_precision
from analysis.study.learning import Learning, Tried, learning_of_class
from analysis.study.precision import Plan, plan
from analysis.study.reliability import Icc, Measurement, intraclass, mean_squares, measurement
from analysis.study.sample import PHASE_OF, Done, studied_kind
from analysis.study.variance import ROUNDED, Components, components
from analysis.tidy.practice import PRACTICE

Floats = NDArray[np.float64]

WANTED = {"deg": 1.0, "N": 2.0, "percent": 5.0, "s": 2.0}
"""Half width of the interval of a person's mean that a plan is made for, by the last word of the
key. Ours: what a teacher would act on."""


@dataclass(frozen=True, slots=True)
class MeasureFindings:
    """What a study says of one measure; what could not be had is None with a reason.

    Attributes:
        key: Of the measure.
        values: How many repetitions of practice have it.
        variability: Variance components, over practice.
        plan: What a wanted precision takes; None if nothing varies.
        operators: Precision within and between people, over practice; None likewise.
        icc: Intraclass correlations of session means, over practice.
        errors: Error of measurement of a session mean, both kinds.
        table: People and sessions that these rest on.
        learning: By person.
        crossed: Whether all people change alike from one condition to the next.
        crossed_table: Which conditions that rests on and who is left out, without the values.
        groups: Kinds of people side by side.
        conditions: The last of practice and the tests side by side, within people.
        reasons: Why something is None, by its name.
    """

    key: str
    values: int
    variability: Components | None
    plan: Plan | None
    operators: Precision | None
    icc: tuple[Icc, ...]
    errors: tuple[Measurement, ...]
    table: tuple[int, int]
    learning: tuple[Learning, ...]
    crossed: Crossed | None
    crossed_table: CrossedTable
    groups: tuple[Contrast, ...]
    conditions: tuple[Contrast, ...]
    reasons: Mapping[str, str]


def findings(done: Iterable[Done]) -> tuple[MeasureFindings, ...]:
    """Return what is found of each measure, in the order of `COMPARED`.

    Variability, reliability and learning are those of one kind of people (`studied_kind`); groups
    are all.
    """
    all_done = list(done)
    return _corrected([_of_measure(key, all_done) for key in PHASE_OF])


def comparisons(found: Iterable[MeasureFindings]) -> int:
    """Return how many comparisons a study makes: what their chances are corrected for."""
    return sum(one.p is not None for each in found for one in (*each.groups, *each.conditions))


def _corrected(found: Sequence[MeasureFindings]) -> tuple[MeasureFindings, ...]:
    chances = [
        one.p for each in found for one in (*each.groups, *each.conditions) if one.p is not None
    ]
    corrected = iter(holm(chances))

    def with_chance(contrasts: Iterable[Contrast]) -> tuple[Contrast, ...]:
        return tuple(
            one if one.p is None else replace(one, p_of_all=next(corrected)) for one in contrasts
        )

    return tuple(
        replace(each, groups=with_chance(each.groups), conditions=with_chance(each.conditions))
        for each in found
    )


def wanted(key: str) -> float:
    """Return the precision that is planned for."""
    return WANTED.get(key.rsplit("_", 1)[-1], 1.0)


def _of_measure(key: str, done: list[Done]) -> MeasureFindings:
    kind = studied_kind(done)
    studied = [one for one in done if one.kind == kind]
    practice = [one for one in studied if one.role == PRACTICE]
    values = np.array([one.values[key] for one in practice])
    reasons: dict[str, str] = {}
    people, sessions = [one.person for one in practice], [one.session for one in practice]
    variability = None
    try:
        variability = components(values, people, sessions)
    except StudyError as why:
        reasons["variability"] = str(why)
    varies = variability is not None and variability.varies
    operators = None
    try:
        if variability is not None and varies:
            operators = nested_precision(_by_session(practice, key), variability)
    except StudyError as why:
        reasons["operators"] = str(why)
    table = session_table(practice, key)
    icc: tuple[Icc, ...] = ()
    errors: tuple[Measurement, ...] = ()
    try:
        icc, errors = _reliability(table)
    except ValueError as why:
        reasons["reliability"] = str(why)
    across = None
    cells = crossed_table((one.person, one.role, one.values[key]) for one in studied)
    try:
        across = crossed(cells.values)
    except StudyError as why:
        reasons["crossed"] = str(why)
    tried = _tried(studied, key)
    return MeasureFindings(
        key=key,
        values=int(np.isfinite(values).sum()),
        variability=variability,
        plan=plan(variability, wanted(key)) if variability and varies else None,
        operators=operators,
        icc=icc,
        errors=errors,
        table=(table.shape[0], table.shape[1]),
        learning=learning_of_class(tried),
        crossed=across,
        crossed_table=replace(cells, values=np.empty(0)),
        groups=tuple(_groups(_tried(done, key), {one.person: one.group for one in done})),
        conditions=tuple(between_conditions(tried)),
        reasons=reasons,
    )


def session_table(done: Iterable[Done], key: str) -> Floats:
    """Return the mean of each person and session, shape (people, sessions), without gaps.

    It has as many sessions as most people share: those with fewer are left out, later ones of
    those with more are not used.
    """
    cells: dict[str, dict[int, list[float]]] = {}
    for one in done:
        if np.isfinite(one.values[key]):
            cells.setdefault(one.person, {}).setdefault(one.session, []).append(one.values[key])
    rows = [[float(np.mean(own)) for _, own in sorted(by.items())] for by in cells.values()]
    best = max(
        range(2, max(map(len, rows), default=0) + 1),
        key=lambda k: k * sum(len(row) >= k for row in rows),
        default=2,
    )
    full = [row[:best] for row in rows if len(row) >= best]
    return np.array(full, dtype=np.float64).reshape(len(full), best)


def _reliability(table: Floats) -> tuple[tuple[Icc, ...], tuple[Measurement, ...]]:
    if mean_squares(table).within <= (ROUNDED * max(1.0, float(np.abs(table).max()))) ** 2:
        raise ValueError("nobody's sessions differ")
    return intraclass(table), measurement(table)


def _by_session(done: Iterable[Done], key: str) -> dict[str, dict[int, list[float]]]:
    found: dict[str, dict[int, list[float]]] = {}
    for one in done:
        found.setdefault(one.person, {}).setdefault(one.session, []).append(one.values[key])
    return found


def _tried(done: Iterable[Done], key: str) -> dict[str, list[Tried]]:
    people: dict[str, list[Tried]] = {}
    for one in done:
        tried = Tried(one.role, one.session, one.practised, one.values[key])
        people.setdefault(one.person, []).append(tried)
    return people


def _groups(people: Mapping[str, Sequence[Tried]], groups: Mapping[str, str]) -> list[Contrast]:
    compared = group_values(people, groups)
    return [one for at, values in compared.items() for one in between_groups(values, at)]
