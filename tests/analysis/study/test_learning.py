"""Learning curves whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.study.learning import LAST, LEAST_VALUES, Tried, fitted, learning_of
from analysis.tidy.practice import BASELINE, PRACTICE, RETENTION, TRANSFER

AT = np.arange(1.0, 41.0)


def truth(
    at: np.ndarray, plateau: float = -4.0, first: float = 10.0, pace: float = 8.0
) -> np.ndarray:
    return plateau + (first - plateau) * np.exp(-(at - 1.0) / pace)


def test_without_noise_the_parameters_come_back() -> None:
    curve, reason = fitted(AT, truth(AT))

    assert curve is not None
    assert reason == ""
    assert (curve.plateau, curve.gain, curve.pace) == pytest.approx((-4.0, -14.0, 8.0), rel=1e-4)


def test_the_interval_of_the_curve_holds_the_truth_about_as_often_as_it_says() -> None:
    held = []
    for seed in range(150):
        noise = np.random.default_rng(seed).normal(size=len(AT))
        curve, _ = fitted(AT, truth(AT) + noise)
        assert curve is not None
        inside = (curve.low <= truth(curve.at)) & (truth(curve.at) <= curve.high)
        held.append(inside.mean())

    assert np.mean(held) == pytest.approx(0.95, abs=0.03)


def test_chance_alone_is_hardly_ever_called_learning() -> None:
    found = [fitted(AT, np.random.default_rng(seed).normal(size=len(AT)))[0] for seed in range(150)]

    assert np.mean([curve is not None for curve in found]) < 0.25
    assert fitted(AT, np.random.default_rng(0).normal(size=len(AT)))[1] in (
        "", "no learning to be told from chance",
    )  # fmt: skip


def test_few_values_and_values_that_do_not_change_give_a_reason() -> None:
    few = fitted(AT[:5], truth(AT[:5]))
    level = fitted(AT, np.ones_like(AT))

    assert few == (None, f"5 repetitions are too few for a curve (at least {LEAST_VALUES})")
    assert level == (None, "the values do not change")


def test_retention_and_transfer_are_held_against_the_last_of_practice() -> None:
    rng = np.random.default_rng(2)
    tried = [Tried(BASELINE, 0, 12.0)]
    tried += [Tried(PRACTICE, int(n), float(v)) for n, v in zip(AT, truth(AT), strict=True)]
    last = float(np.mean(truth(AT)[-LAST:]))
    tried += [Tried(RETENTION, 40, last + 2.0 + 0.1 * rng.normal()) for _ in range(5)]
    tried += [Tried(TRANSFER, 40, float("nan"))]

    found = learning_of("T01", tried)

    assert found.retention is not None
    assert found.retention.mean.value == pytest.approx(2.0, abs=0.15)
    assert found.retention.mean.excludes_zero
    assert found.transfer is None
    assert len(found.values) == len(AT)
    assert found.curve is not None
