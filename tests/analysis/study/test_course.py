"""Tests of a course of practice: blind to days, honest about chance, able to see learning."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.study.course import ALPHA, LEAST_SESSIONS, Course, course_of

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


def design(sessions: int, each: int) -> tuple[Floats, Whole]:
    return np.arange(1.0, sessions * each + 1), np.repeat(np.arange(sessions), each)


def test_what_is_seen_within_sessions_does_not_depend_on_the_days_at_all() -> None:
    rng = np.random.default_rng(1)
    at, session = design(3, 12)
    values = rng.normal(size=36)

    still = course_of(at, session, values)
    shifted = course_of(at, session, values + np.array([0.0, 300.0, -70.0])[session])

    assert shifted.within == still.within
    assert shifted.within_pace == still.within_pace


@pytest.mark.parametrize(("sessions", "each"), [(1, 20), (3, 12), (8, 3), (6, 2)])
def test_chance_is_told_as_a_course_about_as_often_as_it_says(sessions: int, each: int) -> None:
    rng = np.random.default_rng(sessions)
    at, session = design(sessions, each)

    told = [
        course_of(at, session, rng.normal(size=sessions)[session] + rng.normal(size=len(at))).told
        for _ in range(400)
    ]

    assert np.mean(told) < ALPHA + 0.03


def test_repetitions_that_now_and_then_fail_badly_are_no_course_either() -> None:
    rng = np.random.default_rng(9)
    at, session = design(3, 12)

    for drawn in (rng.standard_t(3, size=(400, 36)), rng.exponential(size=(400, 36))):
        told = [course_of(at, session, values).told for values in drawn]
        assert np.mean(told) < ALPHA + 0.05


@pytest.mark.parametrize(("gain", "least"), [(4.0, 0.8), (6.0, 0.97)])
def test_a_course_within_sessions_is_seen_whatever_the_days(gain: float, least: float) -> None:
    rng = np.random.default_rng(2)
    at, session = design(3, 12)
    course = gain * np.exp(-(at - 1.0) / 6.0)

    told = [
        course_of(
            at, session, course + 5.0 * rng.normal(size=3)[session] + rng.normal(size=36)
        ).told_within
        for _ in range(100)
    ]

    assert np.mean(told) > least


def test_means_of_sessions_are_tested_from_four_on_and_share_the_level() -> None:
    rng = np.random.default_rng(3)
    few, many = (design(count, 3) for count in (LEAST_SESSIONS - 1, 8))

    without, both = (course_of(*one, rng.normal(size=len(one[0]))) for one in (few, many))
    falling = course_of(*many, 12.0 - 0.5 * many[0] + 0.3 * rng.normal(size=24))

    assert without.between is None
    assert without.level == ALPHA
    assert both.between is not None
    assert both.level == ALPHA / 2
    assert falling.told_between


def test_values_that_rounding_alone_changes_are_no_course() -> None:
    at, session = design(3, 6)
    days = np.array([0.1, 0.7, 0.3])[session] * 3.0

    found = course_of(at, session, days)

    assert found == Course(1.0, None, found.within_pace, found.between_pace)
