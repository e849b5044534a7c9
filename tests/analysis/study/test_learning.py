"""Learning whose truth is known, with days that differ."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.study.days import FEW_DAYS
from analysis.study.learning import (
    LAST,
    LEAST_VALUES,
    NOTHING_TOLD,
    Learning,
    Tried,
    learning_of,
    learning_of_class,
)
from analysis.tidy.practice import BASELINE, PRACTICE, RETENTION, TRANSFER

AT = np.arange(1.0, 41.0)


def truth(at: np.ndarray, gain: float = 14.0, pace: float = 8.0) -> np.ndarray:
    return -4.0 + gain * np.exp(-(at - 1.0) / pace)


def person(
    rng: np.random.Generator,
    *,
    days_sd: float,
    gain: float = 0.0,
    lost: float = 0.0,
    sessions: int = 3,
    noise: float = 1.0,
) -> list[Tried]:
    """Sessions of twelve, then a test of six on a day of its own."""
    tried, done = [], 0
    for session in range(1, sessions + 1):
        today = days_sd * rng.normal()
        for _ in range(12):
            done += 1
            value = today + float(truth(np.array(done), gain)) + noise * rng.normal()
            tried.append(Tried(PRACTICE, session, done, value))
    today = days_sd * rng.normal() + float(truth(np.array(done), gain)) + lost
    test = [Tried(RETENTION, sessions + 1, done, today + noise * rng.normal()) for _ in range(6)]
    return tried + test


def classes(seed: int, count: int, people: int = 8, **of: float) -> list[Learning]:
    rng = np.random.default_rng(seed)
    found: list[Learning] = []
    for _ in range(count):
        tried = {f"T{who}": person(rng, **of) for who in range(people)}  # type: ignore[arg-type]  # sessions is left alone
        found += learning_of_class(tried)
    return found


@pytest.mark.parametrize("days_sd", [0.0, 0.5, 1.0, 2.0])
def test_days_that_differ_are_hardly_ever_called_learning_or_loss(days_sd: float) -> None:
    found = classes(int(10 * days_sd), 40, days_sd=days_sd)

    assert np.mean([one.curve is not None for one in found]) < 0.08
    assert np.mean([one.retention is not None and one.retention.differs for one in found]) < 0.08


@pytest.mark.parametrize("days_sd", [0.5, 2.0])
def test_one_person_alone_is_not_told_to_have_learned_or_lost_either(days_sd: float) -> None:
    found = classes(7, 250, people=1, days_sd=days_sd)

    assert np.mean([one.curve is not None for one in found]) < 0.08
    assert np.mean([one.retention is not None and one.retention.differs for one in found]) < 0.08


@pytest.mark.parametrize(("days_sd", "seen"), [(0.0, 0.95), (0.5, 0.8), (1.0, 0.4)])
def test_what_is_learned_and_lost_is_seen(days_sd: float, seen: float) -> None:
    found = classes(3, 12, days_sd=days_sd, gain=8.0, lost=4.0)

    assert np.mean([one.curve is not None for one in found]) > 0.95
    assert np.mean([one.retention is not None and one.retention.differs for one in found]) > seen


@pytest.mark.parametrize("days_sd", [0.0, 1.0, 2.0])
def test_the_intervals_hold_the_truth_at_least_about_as_often_as_they_say(days_sd: float) -> None:
    found = classes(11, 25, days_sd=days_sd, gain=8.0)
    curves = [one.curve for one in found if one.curve is not None]

    shade, change, gain = [], [], []
    for curve in curves:
        course = truth(curve.at, 8.0)
        shade.append(np.mean((curve.low <= course) & (course <= curve.high)))
        assert curve.change is not None
        change.append(curve.change.low <= course[-1] - course[0] <= curve.change.high)
        if curve.gain is not None:
            gain.append(curve.gain.low <= -8.0 <= curve.gain.high)
    assert min(np.mean(shade), np.mean(change), np.mean(gain)) > 0.9
    assert len(gain) > 0.8 * len(curves)


def test_without_noise_the_parameters_come_back() -> None:
    tried = [
        Tried(PRACTICE, 1 + int(n) // 14, int(n), float(v))
        for n, v in zip(AT, truth(AT), strict=True)
    ]

    curve = learning_of("T01", tried).curve

    assert curve is not None
    assert curve.plateau is not None
    assert curve.gain is not None
    assert curve.pace is not None
    assert (curve.plateau.value, curve.gain.value) == pytest.approx((-4.0, -14.0), rel=0.01)
    assert curve.pace.value == pytest.approx(8.0, rel=0.01)
    assert curve.falling


def test_a_plateau_that_practice_did_not_reach_is_not_told_but_the_change_is() -> None:
    noise = 0.5 * np.random.default_rng(1).normal(size=40)
    tried = [
        Tried(PRACTICE, 1, int(n), float(v + e))
        for n, v, e in zip(AT, 0.3 * AT, noise, strict=True)
    ]

    curve = learning_of("T01", tried).curve

    assert curve is not None
    assert (curve.plateau, curve.gain, curve.pace) == (None, None, None)
    assert curve.change is not None
    assert curve.change.low < 0.3 * 39 < curve.change.high
    assert not curve.falling
    assert curve.one_day


def test_slow_learning_from_day_to_day_is_seen_in_the_means_of_many_sessions() -> None:
    rng = np.random.default_rng(5)
    tried = [
        Tried(PRACTICE, session, 2 * session + half, float(9.0 - session + 0.5 * rng.normal()))
        for session in range(1, 9)
        for half in (0, 1)
    ]

    assert learning_of("T01", tried).curve is not None


def test_two_days_of_one_person_alone_allow_no_claim_and_say_so() -> None:
    tried = person(np.random.default_rng(2), days_sd=1.0, gain=20.0, lost=30.0, sessions=2)

    found = learning_of("T01", tried)

    assert found.retention is not None
    assert found.retention.difference is None
    assert found.retention.reason == FEW_DAYS
    assert not found.retention.differs
    assert found.curve is not None
    assert len(found.curve.low) == 0


def test_few_values_and_values_that_do_not_change_give_a_reason() -> None:
    def reason(values: list[float]) -> str:
        return learning_of(
            "T01", [Tried(PRACTICE, 1, n, value) for n, value in enumerate(values, 1)]
        ).reason

    assert reason([1.0, 2.0]) == f"a curve needs {LEAST_VALUES} repetitions, and there are 2"
    assert reason([1.0] * 20) == "the values do not change"
    assert reason([float(value) for value in np.random.default_rng(0).normal(size=20)]) == (
        NOTHING_TOLD
    )
    assert learning_of("T01", []).reason.endswith("there are 0")


def test_retention_and_transfer_are_held_against_the_last_of_practice_before_them() -> None:
    rng = np.random.default_rng(2)
    noise = 0.1 * rng.normal(size=60)
    tried = [Tried(BASELINE, 1, 0, 12.0)]
    tried += [
        Tried(PRACTICE, 1, int(n), float(v + e))
        for n, v, e in zip(AT, truth(AT), noise, strict=False)
    ]
    last = float(np.mean([one.value for one in tried[-LAST:]]))
    tried += [Tried(RETENTION, 1, 40, last + 2.0 + 0.1 * rng.normal()) for _ in range(5)]
    tried += [Tried(TRANSFER, 1, 40, float("nan"))]
    tried += [Tried(PRACTICE, 1, 41, -3.9)]  # after the test

    found = learning_of("T01", tried)

    assert found.retention is not None
    assert found.retention.before == pytest.approx(last)
    assert found.retention.difference is not None
    assert found.retention.difference.value == pytest.approx(2.0, abs=0.15)
    assert found.retention.differs
    assert found.retention.counts == (LAST, 5)
    assert found.transfer is None
    assert len(found.values) == len(AT) + 1
