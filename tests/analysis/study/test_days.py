"""The spread of days: without bias though people learn, and never taken for known."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.study.days import Days, pooled, sessions_of

Floats = NDArray[np.float64]
SESSION = np.repeat(np.arange(3), 12)
AT = np.arange(1.0, 37.0)
NOTHING = np.empty((36, 0))
FLAT = np.empty((3, 0))


def course(pace: float = 6.0) -> Floats:
    return np.asarray(np.exp(-(AT - 1.0) / pace)[:, np.newaxis])


def values_of(rng: np.random.Generator, days: float, gain: float) -> Floats:
    today = days * rng.normal(size=3)
    return np.asarray(today[SESSION] + gain * course()[:, 0] + rng.normal(size=36))


@pytest.mark.parametrize("days", [0.0, 0.5, 2.0])
@pytest.mark.parametrize("gain", [0.0, 10.0])
def test_the_spread_of_days_comes_back_though_people_learn(days: float, gain: float) -> None:
    rng = np.random.default_rng(1)
    within = course() if gain else NOTHING

    found = pooled(
        [sessions_of(values_of(rng, days, gain), SESSION, within, FLAT) for _ in range(400)]
    )

    assert found.freedom == 800
    assert found.repetition == pytest.approx(1.0, rel=0.05)
    assert found.square - found.held * found.repetition == pytest.approx(
        days**2, rel=0.15, abs=0.05
    )


def test_a_course_between_sessions_costs_a_degree_of_freedom_and_is_taken_out() -> None:
    rng = np.random.default_rng(2)
    line = np.arange(3.0)[:, np.newaxis]

    found = pooled(
        [
            sessions_of(50.0 * SESSION + values_of(rng, 1.0, 0.0), SESSION, NOTHING, line)
            for _ in range(400)
        ]
    )

    assert found.freedom == 400
    assert found.session == pytest.approx(1.0, rel=0.2)


def test_a_mean_against_one_of_another_day_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(3)
    weights = np.concatenate([np.full(5, -0.2), np.full(6, 1.0 / 6.0)])
    session = np.repeat([2, 3], [5, 6])
    for spread in (0.0, 0.5, 2.0):
        held = []
        for _ in range(600):
            own = values_of(rng, spread, 0.0)
            days = pooled([sessions_of(own, SESSION, NOTHING, FLAT)])
            test = spread * rng.normal() + rng.normal(size=6)
            found = days.interval(weights, np.concatenate([own[-5:], test]), session)
            held.append(found.low <= 0.0 <= found.high)
        assert np.mean(held) > 0.93


def test_two_means_of_one_day_are_free_of_days() -> None:
    weights = np.concatenate([np.full(5, -0.2), np.full(5, 0.2)])
    unlike = Days(100.0, 0.1, 4, 1.0, 60)

    error, times = unlike.reach(weights[np.newaxis], np.ones(10, dtype=np.int64))

    assert error[0] == pytest.approx(np.sqrt(0.4))
    assert times[0] == pytest.approx(2.0, abs=0.01)


def test_one_session_says_nothing_of_days() -> None:
    own = sessions_of(
        np.arange(5.0), np.ones(5, dtype=np.int64), np.empty((5, 0)), np.empty((1, 0))
    )

    found = pooled([own])

    assert (found.freedom, found.known, found.repetition) == (0, False, 2.5)
    assert not pooled([]).known


def test_values_that_never_differ_have_no_spread_below_nothing() -> None:
    found = sessions_of(np.full(36, 100.0), SESSION, course(), FLAT)

    assert found.squares >= 0.0
