"""How a person learns: a curve over the repetitions practised, and what stays without the screen.

The model: value = plateau + rest · exp(−(n − 1) / pace) + session + repetition, n the repetitions
practised. A curve is told only where `analysis.study.course` finds that something changes
whatever the days; its intervals, and those of retention and transfer, hold how much days differ
(`analysis.study.days`). Few repetitions and no learning look alike, and are told so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.comparison.effect_sizes import Interval
from analysis.study.course import Course, course_of, falls
from analysis.study.curve import Curve, Practice, fitted, shape_of
from analysis.study.days import FEW_DAYS, Days, Sessions, pooled, sessions_of
from analysis.tidy.practice import PRACTICE, RETENTION, TRANSFER

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

LEAST_VALUES = 8
"""Three parameters and a spread want more than a handful. Ours."""
LAST = 5
"""So many last repetitions of practice are what retention and transfer are held against. Ours: a
block."""
LEAST_FREEDOM = 5
"""With fewer degrees of freedom of their own a person's repetitions count as spread as all's."""
NOTHING_TOLD = "no learning to be told from chance and from day to day"


@dataclass(frozen=True, slots=True)
class Tested:
    """A test without help, held against the last of practice before it.

    Attributes:
        before: Mean of the last of practice.
        mean: Mean of the test.
        difference: Test minus practice; None if no claim can be made.
        reason: Why; empty otherwise.
        counts: Repetitions of practice and of the test.
    """

    before: float
    mean: float
    difference: Interval | None
    reason: str
    counts: tuple[int, int]

    @property
    def differs(self) -> bool:
        """Whether it differs by more than repetitions and days do."""
        return self.difference is not None and self.difference.excludes_zero


@dataclass(frozen=True, slots=True)
class Learning:
    """What is known of one person's learning of one measure.

    Attributes:
        person: Code.
        practised: Shape (n,), repetitions of practice so far, this one too.
        values: Shape (n,), the measure.
        curve: Fitted, None if there is none to be told.
        reason: Why there is none; empty otherwise.
        retention: Test of retention, None if there is none.
        transfer: Test of transfer, None likewise.
    """

    person: str
    practised: Floats
    values: Floats
    curve: Curve | None
    reason: str
    retention: Tested | None
    transfer: Tested | None


@dataclass(frozen=True, slots=True)
class Tried:
    """One repetition as learning sees it: its role, session, how much was practised, its value."""

    role: str
    session: int
    practised: int
    value: float


def learning_of_class(people: Mapping[str, Sequence[Tried]]) -> tuple[Learning, ...]:
    """Return what each person of a class learned; how much days differ is pooled over all.

    Args:
        people: Repetitions by code, in order of time; a value that is not known is NaN and left
            out.
    """
    known = {
        person: [one for one in tried if np.isfinite(one.value)]
        for person, tried in sorted(people.items())
    }
    practised = {person: _practice(tried) for person, tried in known.items()}
    days = pooled([one.sessions for one in practised.values() if one.sessions is not None])
    return tuple(
        _learning(person, tried, practised[person], days) for person, tried in known.items()
    )


def learning_of(person: str, tried: Sequence[Tried]) -> Learning:
    """Return what a person learned, days known from nobody else."""
    return learning_of_class({person: tried})[0]


def before_test(tried: Sequence[Tried], role: str) -> tuple[list[Tried], list[Tried]]:
    """Return the last of practice before a test, and the test: of several days its last one.

    Args:
        tried: Repetitions of a person in order of time, all values known.
        role: Of the test.
    """
    days = [one.session for one in tried if one.role == role]
    if not days:
        return [], []
    tested = [one for one in tried if one.role == role and one.session == days[-1]]
    first = next(place for place, one in enumerate(tried) if one is tested[0])
    return [one for one in tried[:first] if one.role == PRACTICE][-LAST:], tested


def _practice(tried: Sequence[Tried]) -> Practice:
    practice = [one for one in tried if one.role == PRACTICE]
    at = np.array([float(one.practised) for one in practice])
    session = np.array([one.session for one in practice], dtype=np.int64)
    values = np.array([one.value for one in practice])
    if len(values) < 2:
        return Practice(at, session, values, None, None)
    able = len(values) >= LEAST_VALUES and np.ptp(values) > 0.0 and np.ptp(at) > 0.0
    course = course_of(at, session, values) if able else None
    return Practice(at, session, values, course, _sessions(at, session, values, course))


def _sessions(at: Floats, session: Whole, values: Floats, course: Course | None) -> Sessions:
    """Return what the sessions say of days; a course that shows is taken out first."""
    within, between = np.empty((len(values), 0)), np.empty((len(np.unique(session)), 0))
    if course is not None and course.told_within:
        within = shape_of(at, course.within_pace)[:, 1:]
    elif course is not None and course.told_between:
        fall = falls(at, np.array([course.between_pace]))
        between = np.array([fall[session == one].mean(axis=0) for one in np.unique(session)])
    return sessions_of(values, session, within, between)


def _learning(person: str, tried: Sequence[Tried], own: Practice, days: Days) -> Learning:
    days = _with_own_repetitions(days, own.sessions)
    curve, reason = _told(own, days)
    return Learning(
        person, own.at, own.values, curve, reason,
        retention=_tested(tried, RETENTION, days),
        transfer=_tested(tried, TRANSFER, days),
    )  # fmt: skip


def _with_own_repetitions(days: Days, own: Sessions | None) -> Days:
    if own is None or own.repetition_freedom < LEAST_FREEDOM:
        return days
    return Days(days.square, days.held, days.freedom, own.repetition, own.repetition_freedom)


def _told(own: Practice, days: Days) -> tuple[Curve | None, str]:
    count = len(own.values)
    if count < LEAST_VALUES:
        return None, f"a curve needs {LEAST_VALUES} repetitions, and there are {count}"
    if own.course is None:
        return None, "the values do not change"
    if not own.course.told:
        if own.course.within is None and own.course.between is None:
            return None, "too few repetitions in a session, and too few sessions, for a curve"
        return None, NOTHING_TOLD
    return fitted(own, days), ""


def _tested(tried: Sequence[Tried], role: str, days: Days) -> Tested | None:
    before, test = before_test(tried, role)
    if not before or not test:
        return None
    both = [*before, *test]
    values = np.array([one.value for one in both])
    session = np.array([one.session for one in both], dtype=np.int64)
    counts = len(before), len(test)
    weights = np.repeat([-1.0 / counts[0], 1.0 / counts[1]], counts)
    found, reason = None, _no_claim(session, days)
    if not reason:
        found = days.interval(weights, values, session)
    means = float(np.mean(values[: counts[0]])), float(np.mean(values[counts[0] :]))
    return Tested(*means, found, reason, counts)


def _no_claim(session: Whole, days: Days) -> str:
    """Return why a test cannot be held against practice; empty if it can."""
    if days.repetition_freedom < 1:
        return "how much repetitions differ is not known"
    if days.repetition == 0.0 and days.square == 0.0:
        return "the values of practice do not change"
    if len(np.unique(session)) > 1 and not days.known:
        return FEW_DAYS
    return ""
