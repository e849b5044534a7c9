"""What a low-pass does to each frequency, offline and live: arrays for the report's methods."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from analysis.filters import LowPass, design, dual_pass_factor, live_delay_s

Floats = NDArray[np.float64]

POINTS = 400
DECADES_BELOW = 1.5
"""From so far below the cut-off."""


@dataclass(frozen=True, slots=True)
class FilterResponse:
    """The response of one specification.

    Attributes:
        hz: Shape (n,).
        offline_gain: Shape (n,), of both passes together; without delay.
        live_gain: Shape (n,), of the one pass.
        live_delay_s: Shape (n,), how much later the one pass gives a wave of that frequency.
        dual_pass_factor: What the design cut-off of one pass is divided by offline.
        one_pass_cutoff_hz: Design cut-off of one offline pass, so that both together keep -3 dB at
            the cut-off asked for.
        delay_s: Of the live form on slow changes, as stated.
    """

    hz: Floats
    offline_gain: Floats
    live_gain: Floats
    live_delay_s: Floats
    dual_pass_factor: float
    one_pass_cutoff_hz: float
    delay_s: float


def frequency_response(spec: LowPass, *, fs_hz: float, hz: Floats | None = None) -> FilterResponse:
    """Return the response of the filters as designed, bilinear warping included.

    Args:
        spec: The filter.
        fs_hz: Sampling rate.
        hz: Frequencies above 0 and below half the rate; None spreads 400 evenly in logarithm from
            well below the cut-off up to 0.45 of the rate.

    Raises:
        ValueError: The cut-off does not fit *fs_hz*.
    """
    if hz is None:
        hz = np.geomspace(spec.cutoff_hz / 10**DECADES_BELOW, 0.45 * fs_hz, POINTS)
    twice, once = (design(spec, fs_hz=fs_hz, passes=passes) for passes in (2, 1))
    _, offline = signal.sosfreqz(twice, worN=hz, fs=fs_hz)
    _, live = signal.sosfreqz(once, worN=hz, fs=fs_hz)
    factor = dual_pass_factor(spec.order)
    warped = np.tan(np.pi * spec.cutoff_hz / fs_hz) / factor
    return FilterResponse(
        hz=hz,
        offline_gain=np.abs(offline) ** 2,
        live_gain=np.abs(live),
        live_delay_s=-np.unwrap(np.angle(live)) / (2.0 * np.pi * hz),
        dual_pass_factor=factor,
        one_pass_cutoff_hz=float(fs_hz / np.pi * np.arctan(warped)),
        delay_s=live_delay_s(spec),
    )
