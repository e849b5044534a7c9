"""Choosing a cut-off by what it leaves over."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.cutoff import LEAST_TAIL, WINDOW_S, liveliest, residual_analysis
from analysis.filters import dual_pass_factor

FS_HZ = 1000.0
TIME_S = np.arange(0.0, 20.0, 1.0 / FS_HZ)


def push_n(noise_n: float) -> np.ndarray:
    """A push that wavers and trembles, seen by a noisy cell."""
    wavering = 40.0 + 5.0 * np.sin(2 * np.pi * 0.3 * TIME_S)
    tremble = 0.4 * np.sin(2 * np.pi * 9.0 * TIME_S)
    return wavering + tremble + noise_n * np.random.default_rng(1).normal(size=len(TIME_S))


@pytest.mark.parametrize(
    ("cutoff_hz", "residual"), [(5.0, 0.929419), (10.0, 0.859226), (15.0, 0.790512)]
)
def test_residuals_of_white_noise_are_those_recomputed_from_the_filters_formula(
    cutoff_hz: float, residual: float
) -> None:
    # Second order, two passes, at 100 Hz, the cut-off there being that of one pass, not corrected
    # for two. Source: |1 - |H|²| of white noise integrated over frequency.
    warped = np.tan(np.pi * cutoff_hz / 100.0) * dual_pass_factor(2)
    ours_hz = 100.0 / np.pi * np.arctan(warped)
    noise = np.random.default_rng(2).normal(size=100_000)

    found = residual_analysis(noise, fs_hz=100.0, cutoffs_hz=ours_hz + 0.1 * np.arange(LEAST_TAIL))

    assert found.residual_rms[0] == pytest.approx(residual, abs=0.005)


@pytest.mark.parametrize("noise_n", [0.02, 0.05, 0.2])
def test_the_tail_drawn_back_to_nought_is_the_noise(noise_n: float) -> None:
    assert residual_analysis(push_n(noise_n), fs_hz=FS_HZ).noise_rms == pytest.approx(
        noise_n, rel=0.02
    )


def test_the_noisier_the_cell_the_lower_the_cut_off_and_none_cuts_the_tremble() -> None:
    found = [residual_analysis(push_n(noise), fs_hz=FS_HZ).cutoff_hz for noise in (0.02, 0.05, 0.2)]

    assert found == sorted(found, reverse=True)
    assert min(found) > 9.0


def test_channels_count_together() -> None:
    one = push_n(0.05)

    both = residual_analysis(np.stack([one, one], axis=1), fs_hz=FS_HZ)

    assert both.residual_rms == pytest.approx(residual_analysis(one, fs_hz=FS_HZ).residual_rms)


def test_a_signal_whose_residual_never_runs_straight_speaks_for_no_cut_off() -> None:
    found = residual_analysis(np.zeros(5000), fs_hz=FS_HZ)

    assert np.isnan([found.noise_rms, found.cutoff_hz, found.tail_from_hz]).all()


def test_too_little_is_refused() -> None:
    with pytest.raises(ValueError, match="100 samples at 1000 Hz are too few"):
        residual_analysis(np.zeros(100), fs_hz=FS_HZ)


def test_the_liveliest_stretch_is_where_the_force_changes_most() -> None:
    size = int(WINDOW_S * FS_HZ)
    x = np.zeros((3 * size, 3))
    x[size : 2 * size, 1] = np.sin(TIME_S)

    found = liveliest(x, np.ones(len(x), dtype=bool), fs_hz=FS_HZ)

    assert found is not None
    assert np.array_equal(found, x[size : 2 * size])


def test_gaps_are_not_looked_across() -> None:
    x = np.arange(3000.0)[:, np.newaxis]
    known = np.ones(3000, dtype=bool)
    known[500] = False

    found = liveliest(x, known, fs_hz=FS_HZ)

    assert found is not None
    assert found[0] == 501.0


def test_where_nothing_long_is_known_there_is_nothing_to_look_at() -> None:
    assert liveliest(np.zeros((3000, 3)), np.arange(3000) % 1000 > 0, fs_hz=FS_HZ) is None
