"""Intervals under every memory: how often they hold the truth, over drawn noise, fixed seeds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal, stats

from analysis.memory import (
    CELLS,
    WAVES,
    cell_means,
    reach_of_means,
    reach_of_slope,
    too_few_to_tell,
)
from analysis.robust import theil_sen

Floats = NDArray[np.float64]
FS_HZ = 100.0
DRAWS = 800
BAND = (0.88, 0.99)
"""How often a 95 % interval holds the truth, at every memory up to a third of the stretch."""
MEMORIES_S = [0.1, 0.5, 1.0, 2.0]


def noise(memory_s: float, seconds: float, draws: int, seed: int) -> Floats:
    """Return first-order noise of SD 1, stationary, shape (draws, n)."""
    keep = np.exp(-1.0 / (memory_s * FS_HZ))
    drive = np.random.default_rng(seed).normal(size=(draws, int(seconds * FS_HZ)))
    drive[:, 1:] *= np.sqrt(1.0 - keep**2)
    return np.asarray(signal.lfilter([1.0], [1.0, -keep], drive, axis=1))


def cells_of(rows: Floats) -> Floats:
    return cell_means(rows.T).T


def inside(held: NDArray[np.bool_], told: NDArray[np.bool_]) -> float:
    """Return how often the truth was held, where an interval was told."""
    assert told.mean() > 0.4
    return float(held[told].mean())


@pytest.mark.parametrize("seconds", [6.0, 13.0])
@pytest.mark.parametrize("memory_s", MEMORIES_S)
def test_the_interval_of_a_mean_holds_it_at_every_memory(memory_s: float, seconds: float) -> None:
    rows = noise(memory_s, seconds, DRAWS, seed=1)

    reach = reach_of_means(cells_of(rows))

    held = np.abs(rows.mean(axis=1)) <= reach.half_width
    assert BAND[0] <= inside(held, ~reach.too_short) <= BAND[1]


@pytest.mark.parametrize("memory_s", MEMORIES_S)
def test_tremor_and_the_low_pass_do_not_spoil_it(memory_s: float) -> None:
    """A wave of 9 Hz of the noise's own size, and all of it low-passed at 10 Hz."""
    rows = noise(memory_s, 13.0, DRAWS, seed=9)
    slow_mean = rows.mean(axis=1)
    rows += np.sqrt(2.0) * np.sin(2.0 * np.pi * 9.0 * np.arange(rows.shape[1]) / FS_HZ)
    low_pass = signal.butter(2, 10.0, fs=FS_HZ, output="sos")

    reach = reach_of_means(cells_of(signal.sosfiltfilt(low_pass, rows, axis=1)))

    held = np.abs(slow_mean) <= reach.half_width
    assert BAND[0] <= inside(held, ~reach.too_short) <= BAND[1]


def test_a_chosen_block_of_half_a_second_would_not() -> None:
    """What it takes the place of: at 2 s it held the mean in half of the cases."""
    rows = noise(2.0, 6.0, DRAWS, seed=1)

    blocks = rows.reshape(DRAWS, 12, 50).mean(axis=2)

    reach = stats.t.ppf(0.975, 11) * blocks.std(axis=1, ddof=1) / np.sqrt(12)
    assert np.mean(np.abs(rows.mean(axis=1)) <= reach) < 0.6


def test_a_short_memory_costs_little_width() -> None:
    """Against the interval of somebody who knows the memory: 1.96 SDs of the mean."""
    rows = noise(0.1, 13.0, DRAWS, seed=2)

    reach = reach_of_means(cells_of(rows))

    best = 1.96 * rows.mean(axis=1).std()
    assert best < np.median(reach.half_width) < 1.5 * best


@pytest.mark.parametrize("memory_s", MEMORIES_S)
def test_a_straight_change_makes_the_interval_no_wider(memory_s: float) -> None:
    rows = noise(memory_s, 6.0, 20, seed=3)
    drifting = rows + np.linspace(-30.0, 30.0, rows.shape[1])

    plain, drifted = reach_of_means(cells_of(rows)), reach_of_means(cells_of(drifting))

    assert drifted.half_width == pytest.approx(plain.half_width, rel=1e-2)


@pytest.mark.parametrize("memory_s", [0.1, 0.5, 1.0])
@pytest.mark.parametrize("there_and_back", [False, True])
def test_the_interval_of_a_slope_holds_it(memory_s: float, there_and_back: bool) -> None:
    """Of a Theil–Sen slope, on a way up or up and down; its truth is 0.3."""
    rows = noise(memory_s, 8.0, 300, seed=4)
    way = np.linspace(0.0, 1.0, rows.shape[1])
    way = cell_means(10.0 * (1.0 - np.abs(2.0 * way - 1.0) if there_and_back else way))
    held, told = [], []

    for one in 0.3 * way + cells_of(rows):
        slope = theil_sen(way, one, most=CELLS)
        reach = reach_of_slope(way, one, slope)
        held.append(abs(slope - 0.3) <= reach.half_width[0])
        told.append(not reach.too_short[0])

    assert BAND[0] <= inside(np.array(held), np.array(told)) <= 1.0


WAY = np.linspace(-1.0, 1.0, CELLS)


@pytest.mark.parametrize(
    "way",
    [
        np.cos(3.0 * WAY) + 0.2 * np.abs(WAY),
        np.cos(np.pi * np.arange(0.5, CELLS) / CELLS * 2.0),  # a wave that is looked at
        5.0 - 2.0 * WAY,  # the straight line that is left out anyway
        np.full(CELLS, 40.0),
    ],
)
def test_a_change_along_a_way_makes_the_interval_no_wider(way: Floats) -> None:
    cells = cells_of(noise(0.5, 6.0, 20, seed=8))

    plain, moved = reach_of_means(cells, way), reach_of_means(cells + 30.0 * way, way)

    assert np.isfinite(plain.half_width).all()
    assert moved.half_width == pytest.approx(plain.half_width, rel=1e-6)


def test_a_stretch_much_shorter_than_the_memory_often_tells_none() -> None:
    """A random walk forgets nothing; by its line alone it cannot always be told from a drift."""
    walks = np.cumsum(np.random.default_rng(5).normal(size=(200, 600)), axis=1)

    reach = reach_of_means(cells_of(walks))

    assert reach.too_short.mean() > 0.4
    assert not reach_of_means(cells_of(noise(0.05, 13.0, 200, seed=6))).too_short.any()


def test_what_never_changed_is_told_apart() -> None:
    reach = reach_of_means(np.stack([np.full(CELLS, 40.0), np.sin(np.arange(CELLS))]))

    assert reach.constant.tolist() == [True, False]
    assert reach.half_width[0] == 0.0
    assert reach.half_width[1] > 0.0


def test_noise_without_memory_has_the_interval_of_student() -> None:
    """White cells: the waves are independent draws, as many as the degrees of freedom."""
    cells = np.random.default_rng(7).normal(size=(400, CELLS))

    reach = reach_of_means(cells)

    expected = stats.t.ppf(0.975, WAVES) / np.sqrt(CELLS)
    assert np.median(reach.half_width) == pytest.approx(expected, rel=0.25)


@given(scale=st.floats(1e-6, 1e6), level=st.floats(-1e3, 1e3), seed=st.integers(0, 1000))
def test_the_half_width_goes_with_the_unit_and_not_with_the_level(
    scale: float, level: float, seed: int
) -> None:
    cells = np.random.default_rng(seed).normal(size=(1, CELLS)).cumsum(axis=1)

    plain = reach_of_means(cells).half_width
    other = reach_of_means(scale * (cells + level)).half_width

    assert other == pytest.approx(scale * plain, rel=1e-5)


def test_cells_are_means_of_equal_parts() -> None:
    """A sample on an edge counts for both, by its parts."""
    even, odd = cell_means(np.arange(3.0 * CELLS)), cell_means(np.arange(1.5 * CELLS))

    assert even == pytest.approx(1.0 + 3.0 * np.arange(CELLS))
    assert odd[:2] == pytest.approx([(0.0 + 0.5 * 1.0) / 1.5, (0.5 * 1.0 + 2.0) / 1.5])
    assert odd.mean() == pytest.approx(np.arange(1.5 * CELLS).mean())
    with pytest.raises(ValueError, match="fewer than 64 cells"):
        cell_means(np.zeros(CELLS - 1))


def test_a_slope_needs_something_to_lean_on() -> None:
    with pytest.raises(ValueError, match="two different values"):
        reach_of_slope(np.full(CELLS, 2.0), np.arange(float(CELLS)), 0.0)


def test_too_little_is_said_to_be() -> None:
    assert "less than 2 s" in too_few_to_tell(399, 200.0)
    assert too_few_to_tell(400, 200.0) == ""
    assert too_few_to_tell(40, 20.0)  # two seconds, but fewer samples than cells
