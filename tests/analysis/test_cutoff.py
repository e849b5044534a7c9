"""Residual analysis and frequency response against closed forms and recomputed values."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.cutoff import residual_analysis
from analysis.filter_response import frequency_response
from analysis.filters import LiveLowPass, LowPass, dual_pass_factor, smooth

FS_HZ = 100.0


def test_the_residuals_of_white_noise_are_the_recomputed_ones() -> None:
    """Two passes of second order, cut-offs uncorrected, fs = 100 Hz; recomputed for the tests.

    Ours are corrected, so each is asked for at what the uncorrected one keeps: fc · 0.802,
    behind the bilinear warping.
    """
    expected = {5.0: 0.929419, 10.0: 0.859226, 15.0: 0.790512, 20.0: 0.722434, 30.0: 0.580644}
    noise = np.random.default_rng(4).standard_normal(400_000)
    for cutoff_hz, rms in expected.items():
        warped = np.tan(np.pi * cutoff_hz / FS_HZ) * dual_pass_factor(2)
        asked_hz = FS_HZ / np.pi * np.arctan(warped)
        left = noise - smooth(noise, LowPass(cutoff_hz=asked_hz), fs_hz=FS_HZ)
        assert left.std() == pytest.approx(rms, abs=0.005)


def test_the_line_of_white_noise_meets_0_hz_at_its_sd() -> None:
    """Winter: the tail carried on to 0 Hz is the noise; nothing but noise has no cut-off."""
    noise = 0.3 * np.random.default_rng(5).standard_normal(100_000)

    curve = residual_analysis(noise, fs_hz=FS_HZ)

    assert curve.noise_rms == pytest.approx(0.3, rel=0.03)
    assert curve.slope_per_hz < 0.0
    assert curve.cutoff_hz is None or curve.cutoff_hz < 2.0


@pytest.mark.parametrize("noise_sd", [0.02, 0.1])
def test_the_cutoff_of_a_known_movement_lies_above_it_and_its_noise_is_found(
    noise_sd: float,
) -> None:
    """A push that changes up to 4 Hz: the cut-off keeps it, and more noise asks for less."""
    time_s = np.arange(0.0, 60.0, 1.0 / FS_HZ)
    push = np.sum([np.sin(2.0 * np.pi * hz * time_s + hz) for hz in (0.3, 1.1, 4.0)], axis=0)
    noise = np.random.default_rng(6).standard_normal(len(time_s))

    curve = residual_analysis(push + noise_sd * noise, fs_hz=FS_HZ)

    assert curve.noise_rms == pytest.approx(noise_sd, rel=0.35)
    assert curve.cutoff_hz is not None
    assert 4.0 < curve.cutoff_hz < 20.0


def test_a_straight_line_has_no_cutoff() -> None:
    curve = residual_analysis(np.zeros(500), fs_hz=FS_HZ)

    assert curve.cutoff_hz is None
    assert curve.noise_rms == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("order", [1, 2, 4])
def test_both_forms_are_3_db_down_at_the_cutoff_and_the_delay_is_that_stated(order: int) -> None:
    spec = LowPass(cutoff_hz=10.0, order=order)

    found = frequency_response(spec, fs_hz=1000.0, hz=np.array([0.01, 10.0, 100.0]))

    assert found.offline_gain[1] == pytest.approx(np.sqrt(0.5))
    assert found.live_gain[1] == pytest.approx(np.sqrt(0.5))
    assert found.offline_gain[0] == pytest.approx(1.0)
    assert found.live_delay_s[0] == pytest.approx(found.delay_s, rel=2e-3)


def test_the_equivalent_cutoff_of_one_pass_is_the_published_one() -> None:
    """Winter's correction with prewarping: 6 Hz at 100 Hz is 7.43 Hz in one pass; recomputed."""
    found = frequency_response(LowPass(cutoff_hz=6.0), fs_hz=100.0)

    assert found.one_pass_cutoff_hz == pytest.approx(7.4308849585, abs=1e-9)
    assert found.dual_pass_factor == pytest.approx(0.8022432629, abs=1e-10)
    assert (np.diff(found.offline_gain) < 0.0).all()


@pytest.mark.parametrize("hz", [2.0, 5.0, 10.0])
def test_a_wave_comes_out_live_as_late_and_as_small_as_told(hz: float) -> None:
    """The arrays of the report against the filter itself."""
    fs_hz, spec = 1000.0, LowPass(cutoff_hz=10.0)
    time_s = np.arange(0.0, 6.0, 1.0 / fs_hz)
    found = frequency_response(spec, fs_hz=fs_hz, hz=np.array([hz]))

    out = LiveLowPass(spec, fs_hz=fs_hz)(np.sin(2.0 * np.pi * hz * time_s)[:, np.newaxis])[:, 0]

    late = time_s - found.live_delay_s[0]
    settled = time_s > 3.0
    expected = found.live_gain[0] * np.sin(2.0 * np.pi * hz * late)
    assert out[settled] == pytest.approx(expected[settled], abs=1e-6)
