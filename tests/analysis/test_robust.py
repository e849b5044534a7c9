"""Robust slopes against scipy's, intervals against what they should hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal, stats

from analysis.robust import block_means, bootstrap_interval, resampled_means, theil_sen

Floats = NDArray[np.float64]


@given(seed=st.integers(0, 2**31), count=st.integers(3, 60), coarse=st.booleans())
def test_the_slope_is_that_of_scipy(seed: int, count: int, coarse: bool) -> None:
    """With ties and without."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=count)
    y = 0.7 * x + rng.normal(size=count)
    if coarse:
        x, y = np.round(2.0 * x), np.round(2.0 * y) + 0.25 * np.arange(count)
        x[:2] = (-9.0, 9.0)

    found, theirs = theil_sen(x, y, most=1000), stats.theilslopes(y, x, 0.95)

    assert found.slope == pytest.approx(theirs.slope, rel=1e-9)
    assert found.low == pytest.approx(theirs.low_slope, rel=1e-9)
    assert found.high == pytest.approx(theirs.high_slope, rel=1e-9)


def test_a_quarter_of_bad_samples_does_not_matter() -> None:
    """The breakdown point of the slope is 29 % (Sen 1968)."""
    x = np.linspace(0.0, 150.0, 200)
    y = 0.1 * x
    y[:50] = 90.0

    assert theil_sen(x, y, most=1000).slope == pytest.approx(0.1, abs=0.02)


def test_picking_samples_evenly_keeps_the_slope() -> None:
    rng = np.random.default_rng(1)
    x = np.linspace(0.0, 150.0, 20_000)
    y = 0.12 * x + rng.normal(size=len(x))

    found = theil_sen(x, y, most=250)

    assert found.slope == pytest.approx(0.12, abs=0.006)
    assert found.low < 0.12 < found.high


def test_data_that_never_change_have_a_slope_of_nothing() -> None:
    found = theil_sen(np.arange(50.0), np.full(50, 3.0), most=50)

    assert (found.slope, found.low, found.high) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("x", [[], [1.0], [2.0, 2.0, 2.0]])
def test_a_slope_needs_something_to_lean_on(x: list[float]) -> None:
    with pytest.raises(ValueError, match="two different values"):
        theil_sen(np.array(x), np.array(x), most=10)


def hanging_together(rng: np.random.Generator, count: int) -> Floats:
    """Return noise of which each value is 0.9 of the one before and a new part, SD 1."""
    new = rng.normal(0.0, np.sqrt(1.0 - 0.9**2), size=count + 200)
    return np.asarray(signal.lfilter([1.0], [1.0, -0.9], new)[200:])


def holds_the_mean(block: int) -> float:
    """Return how often the interval of the mean of such noise holds the true one."""
    held = 0
    for seed in range(100):
        rng = np.random.default_rng(seed)
        rows = hanging_together(rng, 1000)
        low, high = bootstrap_interval(
            lambda drawn: float(drawn.mean()), rows, block=block, rng=rng, resamples=150
        )
        held += low <= 0.0 <= high
    return held / 100


def test_blocks_give_an_honest_interval_where_single_samples_do_not() -> None:
    """Of samples that hang together the ordinary bootstrap holds the truth far too seldom."""
    assert holds_the_mean(block=60) > 0.85
    assert holds_the_mean(block=1) < 0.6


def test_an_interval_is_the_same_for_the_same_seed() -> None:
    rows = np.random.default_rng(3).normal(size=(100, 2))

    def slope(drawn: Floats) -> float:
        return theil_sen(drawn[:, 0], drawn[:, 1], most=100).slope

    first = bootstrap_interval(slope, rows, block=10, rng=np.random.default_rng(7), resamples=50)
    second = bootstrap_interval(slope, rows, block=10, rng=np.random.default_rng(7), resamples=50)

    assert first == second
    assert first[0] < slope(rows) < first[1]


@pytest.mark.parametrize("block", [0, 6])
def test_blocks_must_fit_twice(block: int) -> None:
    with pytest.raises(ValueError, match="do not fit twice"):
        bootstrap_interval(np.mean, np.zeros(10), block=block, rng=np.random.default_rng(1))


def test_means_of_blocks_leave_out_what_is_incomplete() -> None:
    rows = np.arange(14.0).reshape(7, 2)

    assert block_means(rows, 3).tolist() == [[2.0, 3.0], [8.0, 9.0]]


def test_means_drawn_again_scatter_as_the_bootstrap_of_the_mean() -> None:
    """The quick way for means and the general way draw from the same blocks."""
    rows = np.cumsum(np.random.default_rng(1).normal(size=(400, 1)), axis=0)

    quick = resampled_means(rows, block=20, rng=np.random.default_rng(2), resamples=4000)
    low, high = bootstrap_interval(
        lambda drawn: float(drawn.mean()),
        rows[:, 0],
        block=20,
        rng=np.random.default_rng(3),
        resamples=4000,
    )

    assert quick.shape == (4000, 1)
    found = np.quantile(quick[:, 0], [0.025, 0.975])
    assert found == pytest.approx([low, high], abs=0.05 * (high - low))


def test_means_are_not_drawn_from_less_than_two_blocks() -> None:
    with pytest.raises(ValueError, match="do not fit twice"):
        resampled_means(np.zeros((9, 1)), block=5, rng=np.random.default_rng(1), resamples=10)
