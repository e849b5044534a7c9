"""How hard, and how steadily."""

from __future__ import annotations

import numpy as np
from scipy import signal

from analysis.measures.phase_view import PhaseView, Withheld, percent

MIN_MEAN_FOR_CV_N = 1.0
"""A coefficient of variation divides by the mean: of less it says nothing."""


def force_mean(view: PhaseView) -> float:
    """Return the mean magnitude of the push while the hand is on."""
    return float(view.when_held(view.series.magnitude_n).mean())


def force_sd(view: PhaseView) -> float:
    """Return the standard deviation of the magnitude while the hand is on."""
    return float(view.when_held(view.series.magnitude_n).std(ddof=1))


def force_cv(view: PhaseView) -> float:
    """Return the coefficient of variation, 100·SD/mean: the usual measure of force steadiness."""
    mean = force_mean(view)
    if mean < MIN_MEAN_FOR_CV_N:
        raise Withheld("the mean force is too small to divide by")
    return 100.0 * force_sd(view) / mean


def force_detrended_sd(view: PhaseView) -> float:
    """Return the SD without the linear trend: tremble without the slow change."""
    return float(np.std(signal.detrend(view.when_held(view.series.magnitude_n)), ddof=2))


def force_in_band(view: PhaseView) -> float:
    """Return the share of the known time with the magnitude inside the target's band."""
    band = view.target.force_band
    size = view.when_known(view.series.magnitude_n)
    return percent((size >= band.low_n) & (size <= band.high_n))


def glide_mean(view: PhaseView) -> float:
    """Return the mean component along the target while the hand is on."""
    return float(view.when_held(view.series.glide_n).mean())
