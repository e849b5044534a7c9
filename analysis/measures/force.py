"""How hard, and how steadily."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.measures.phase_view import PhaseView, Withheld, percent
from analysis.runs import runs_of
from analysis.steadiness import coefficient_of_variation_percent, detrended_sd
from analysis.tremor import SEGMENT_S, band_rms

Floats = NDArray[np.float64]


def force_mean(view: PhaseView) -> float:
    """Return the mean magnitude of the push while the hand is on."""
    return float(view.when_held(view.series.magnitude_n).mean())


def force_sd(view: PhaseView) -> float:
    """Return the standard deviation of the magnitude while the hand is on."""
    return float(view.when_held(view.series.magnitude_n).std(ddof=1))


def force_cv(view: PhaseView) -> float:
    """Return the coefficient of variation while the hand is on, 100·SD/mean."""
    size = view.when_held(view.series.magnitude_n)
    if size.mean() < view.settings.cv_smallest_mean_n:
        raise Withheld("the mean force is too small to divide by")
    return coefficient_of_variation_percent(size)


def force_detrended_sd(view: PhaseView) -> float:
    """Return the SD about the linear trend while the hand is on: tremble, not slow change."""
    size = view.when_held(view.series.magnitude_n)
    return detrended_sd(size, view.when_held(view.series.time_s))


def force_tremor(view: PhaseView) -> float:
    """Return the RMS of the force between 8 and 12 Hz: the square root of the tremor's power."""
    settings, size = view.settings, view.part(view.series.magnitude_n)
    try:
        rms = band_rms(
            (size[start:stop] for start, stop in runs_of(view.held)),
            (settings.tremor_low_hz, settings.tremor_high_hz),
            fs_hz=view.series.fs_hz,
            smoothing=view.series.smoothing,
        )
    except ValueError as cause:
        raise Withheld(f"tremor cannot be seen: {cause}") from cause
    if rms != rms:
        raise Withheld(f"the hand was never on for {SEGMENT_S:g} s without a gap in this phase")
    return rms


def force_in_band(view: PhaseView) -> float:
    """Return the share of the known time with the magnitude inside the target's band."""
    band = view.target.force_band
    size = view.when_known(view.series.magnitude_n)
    return percent((size >= band.low_n) & (size <= band.high_n))


def glide_mean(view: PhaseView) -> float:
    """Return the mean component along the target while the hand is on."""
    return float(view.when_held(view.series.glide_n).mean())


def force_u(view: PhaseView) -> float:
    """Return the standard uncertainty of the mean magnitude."""
    return _systematic(view.force_uncertainty.magnitude_n)


def glide_u(view: PhaseView) -> float:
    """Return the standard uncertainty of the mean component along the target."""
    return _systematic(view.force_uncertainty.glide_n)


def superior_force_u(view: PhaseView) -> float:
    """Return the standard uncertainty of the mean upward component."""
    return _systematic(view.force_uncertainty.superior_n)


def _systematic(u_n: Floats) -> float:
    # The same in every sample: averaging makes it no smaller.
    return float(np.sqrt(np.mean(u_n**2)))
