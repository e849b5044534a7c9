"""Which cut-off a low-pass should have: residual analysis.

Winter, Biomechanics and Motor Control of Human Movement: what a low-pass takes out, its residual,
falls with the cut-off. Where only noise is left to take out it falls along a straight line; carried
on to 0 Hz that line gives the noise the signal holds, and the cut-off whose residual is as large
takes out as much noise as it bends the signal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.filters import LowPass, smooth

Floats = NDArray[np.float64]

CUTOFFS = 60
HIGHEST_SHARE = 0.2
"""Of the rate: higher cut-offs are not tried, as the prototype's shape is lost there."""
STRAIGHT = 0.97
"""Squared correlation from which the tail counts as straight. Ours."""
MIN_TAIL = 6
"""Cut-offs that a tail must have at least."""


@dataclass(frozen=True, slots=True)
class ResidualCurve:
    """Residual against cut-off, and what it says; one unit throughout, that of the signal.

    Attributes:
        cutoffs_hz: Shape (k,), tried.
        residual_rms: Shape (k,), root mean square of what each takes out.
        tail_from_hz: The straight tail begins here.
        noise_rms: Where the tail's line meets 0 Hz: the noise in the signal.
        slope_per_hz: Of the tail's line.
        cutoff_hz: Its residual equals *noise_rms*; None if there is no straight tail, or the
            residual is below it from the first cut-off on.
    """

    cutoffs_hz: Floats
    residual_rms: Floats
    tail_from_hz: float
    noise_rms: float
    slope_per_hz: float
    cutoff_hz: float | None


def residual_analysis(
    x: Floats, *, fs_hz: float, order: int = 2, cutoffs_hz: Floats | None = None
) -> ResidualCurve:
    """Return the residual curve of a signal under the offline low-pass.

    Args:
        x: Shape (n,), finite, in motion: at rest there is nothing but noise.
        fs_hz: Sampling rate.
        order: Of one pass of the filter.
        cutoffs_hz: Shape (k,), rising, at least `MIN_TAIL`; None tries 1 Hz to a fifth of the rate.

    Raises:
        ValueError: *x* is not finite, or a cut-off does not fit *fs_hz*.
    """
    if cutoffs_hz is None:
        cutoffs_hz = np.linspace(1.0, HIGHEST_SHARE * fs_hz, CUTOFFS)
    residual = np.array(
        [
            np.sqrt(np.mean((x - smooth(x, LowPass(cutoff_hz=one, order=order), fs_hz=fs_hz)) ** 2))
            for one in cutoffs_hz.tolist()
        ]
    )
    begin = _tail(cutoffs_hz, residual)
    slope, noise = np.polyfit(cutoffs_hz[begin:], residual[begin:], 1)
    straight = _squared_correlation(cutoffs_hz[begin:], residual[begin:]) >= STRAIGHT
    return ResidualCurve(
        cutoffs_hz=cutoffs_hz,
        residual_rms=residual,
        tail_from_hz=float(cutoffs_hz[begin]),
        noise_rms=float(noise),
        slope_per_hz=float(slope),
        cutoff_hz=_crossing(cutoffs_hz, residual, float(noise)) if straight else None,
    )


def _tail(cutoffs_hz: Floats, residual: Floats) -> int:
    """Return the first index from which the curve is straight to its end, the longest such tail."""
    last = len(residual) - MIN_TAIL
    for begin in range(last):
        if _squared_correlation(cutoffs_hz[begin:], residual[begin:]) >= STRAIGHT:
            return begin
    return last


def _squared_correlation(x: Floats, y: Floats) -> float:
    if np.ptp(y) == 0.0:
        return 0.0
    return float(np.corrcoef(x, y)[0, 1] ** 2)


def _crossing(cutoffs_hz: Floats, residual: Floats, level: float) -> float | None:
    """Return the cut-off at which the residual has fallen to *level*, None if it never crosses."""
    below = np.flatnonzero(residual <= level)
    if not len(below) or below[0] == 0:
        return None
    at = int(below[0])
    high, low = residual[at - 1], residual[at]
    share = (high - level) / (high - low)
    return float(cutoffs_hz[at - 1] + share * (cutoffs_hz[at] - cutoffs_hz[at - 1]))
