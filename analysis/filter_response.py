"""What the low-pass does to each frequency: offline both ways, live one way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from analysis.filters import LowPass, design

Floats = NDArray[np.float64]

LOWEST_HZ, POINTS = 0.1, 400


@dataclass(frozen=True, slots=True)
class FilterResponse:
    """A filter over frequency; arrays of shape (n,).

    Attributes:
        hz: Frequencies.
        offline_gain: Of both passes together; they have no delay.
        live_gain: Of the one pass.
        live_delay_s: How much later a slow change of that frequency comes out live (phase delay).
    """

    hz: Floats
    offline_gain: Floats
    live_gain: Floats
    live_delay_s: Floats


def frequency_response(spec: LowPass, *, fs_hz: float, hz: Floats | None = None) -> FilterResponse:
    """Return what a low-pass does, from the very coefficients that are used.

    Args:
        spec: The filter.
        fs_hz: Sampling rate.
        hz: Shape (n,), positive, below half the rate; None takes `POINTS` from `LOWEST_HZ` to
            ten times the cut-off, evenly spaced in the logarithm.

    Raises:
        ValueError: The cut-off does not fit *fs_hz*.
    """
    two, one = (design(spec, fs_hz=fs_hz, passes=passes) for passes in (2, 1))
    if hz is None:
        hz = np.geomspace(LOWEST_HZ, min(10.0 * spec.cutoff_hz, 0.45 * fs_hz), POINTS)
    _, both = signal.freqz_sos(two, worN=hz, fs=fs_hz)
    _, live = signal.freqz_sos(one, worN=hz, fs=fs_hz)
    # Unwrapped from the lowest frequency on, where the phase of a low-pass is near 0.
    phase = np.unwrap(np.angle(live))
    return FilterResponse(
        hz=hz,
        offline_gain=np.abs(both) ** 2,
        live_gain=np.abs(live),
        live_delay_s=-phase / (2.0 * np.pi * hz),
    )
