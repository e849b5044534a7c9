"""The power of tremor: of sinusoids, of noise, through the low-pass, and of the virtual hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from analysis.pipeline import analyse
from analysis.series import Smoothing
from analysis.tremor import band_rms, gain_of, welch_density
from analysis.trial import PhaseName

Floats = NDArray[np.float64]
BAND = (8.0, 12.0)
FS_HZ = 200.0
TIME_S = np.arange(0.0, 30.0, 1.0 / FS_HZ)


@pytest.mark.parametrize("hz", [9.6, 10.0, 10.4])
def test_a_sinusoid_in_the_band_has_its_rms_whatever_else_the_force_does(hz: float) -> None:
    """2 N near 10 Hz are 2/√2 N; a slow change and a slow wander are not tremor."""
    force = 40.0 + 0.5 * TIME_S + 3.0 * np.sin(2 * np.pi * 0.4 * TIME_S)
    force += 2.0 * np.sin(2 * np.pi * hz * TIME_S)

    found = band_rms([force], BAND, fs_hz=FS_HZ, smoothing=None)

    assert found == pytest.approx(2.0 / np.sqrt(2.0), rel=0.02)


def test_white_noise_has_its_share_of_the_power() -> None:
    """Of σ² over 0 to 100 Hz the band of 4 Hz has 4 %: 0.2 σ (Parseval)."""
    noise = np.random.default_rng(3).normal(size=400_000)

    assert band_rms([noise], BAND, fs_hz=FS_HZ, smoothing=None) == pytest.approx(0.2, rel=0.02)


@pytest.mark.parametrize("passes", [1, 2])
def test_what_the_low_pass_took_is_given_back(passes: int) -> None:
    """Filtered by scipy, forward or both ways, the noise has the power that it had before."""
    noise = np.random.default_rng(4).normal(size=400_000)
    # The second order's own edge for two passes: tan(π f/fs)/0.802 (Winter).
    edge = np.arctan(np.tan(np.pi * 10.0 / FS_HZ) / (0.8022432629 if passes == 2 else 1.0))
    sections = signal.butter(2, edge / np.pi * FS_HZ, fs=FS_HZ, output="sos")
    run = signal.sosfiltfilt if passes == 2 else signal.sosfilt
    smoothing = Smoothing(10.0, 2, passes)

    found = band_rms([run(sections, noise)], BAND, fs_hz=FS_HZ, smoothing=smoothing)

    assert found == pytest.approx(0.2, rel=0.02)
    assert gain_of(smoothing, (10.0,), fs_hz=FS_HZ) == pytest.approx(np.sqrt(0.5))


@pytest.mark.parametrize("size", [100, 101])
def test_the_density_is_that_of_scipy(size: int) -> None:
    """Hann windows, half overlapping, a straight line taken out of each: `scipy.signal.welch`."""
    x = np.random.default_rng(5).normal(size=1234) + 0.01 * np.arange(1234)
    _, density = signal.welch(x, 100.0, nperseg=size, detrend=signal.detrend)

    assert welch_density(x, size, fs_hz=100.0) == pytest.approx(density, rel=1e-9, abs=1e-15)


def test_short_runs_do_not_count_and_none_is_no_number() -> None:
    wave = 2.0 * np.sin(2 * np.pi * 10.0 * TIME_S)

    both = band_rms([wave[:2000], np.zeros(150)], BAND, fs_hz=FS_HZ, smoothing=None)

    assert both == pytest.approx(2.0 / np.sqrt(2.0), rel=0.02)
    assert np.isnan(band_rms([wave[:150]], BAND, fs_hz=FS_HZ, smoothing=None))


@pytest.mark.parametrize(
    ("fs_hz", "smoothing"), [(20.0, None), (200.0, Smoothing(4.0, 4, 2))], ids=["rate", "low-pass"]
)
def test_a_band_that_is_not_let_through_is_refused(
    fs_hz: float, smoothing: Smoothing | None
) -> None:
    with pytest.raises(ValueError, match="does not let the band through"):
        band_rms([np.zeros(1000)], BAND, fs_hz=fs_hz, smoothing=smoothing)


def test_the_tremble_of_the_virtual_hand_is_found(told: Callable[..., Any]) -> None:
    """Against the true force, without sensor and low-pass, by Parseval over the movement.

    One of its waves lies near 8 Hz: half of its lobe of 2 Hz falls outside.
    """
    made = told(person="T05", seed=7, repetitions=1)

    trial = analyse(made.recording)

    (one,) = trial.repetitions
    movement = one.spans.movement.slice
    true_n = signal.detrend(made.rig.truth(trial.series.time_s).magnitude_n[movement])
    power = 2.0 * np.abs(np.fft.rfft(true_n) / len(true_n)) ** 2
    hz = np.fft.rfftfreq(len(true_n), 1.0 / trial.series.fs_hz)
    expected = np.sqrt(power[(hz >= BAND[0]) & (hz <= BAND[1])].sum())
    assert expected > 1.5
    found = one.phases[PhaseName.MOVEMENT].values["force_tremor_rms_N"]
    assert found == pytest.approx(expected, rel=0.12)


def test_a_high_rate_changes_nothing() -> None:
    """At 1 kHz only one sample in ten is looked at: noise low-passed at 10 Hz folds nothing in."""
    noise = np.random.default_rng(5).normal(size=1_000_000)
    sections = signal.butter(2, 10.0, fs=1000.0, output="sos")
    smoothing = Smoothing(10.0, 2, 1)

    found = band_rms([signal.sosfilt(sections, noise)], BAND, fs_hz=1000.0, smoothing=smoothing)

    assert found == pytest.approx(np.sqrt(4.0 / 500.0), rel=0.03)
