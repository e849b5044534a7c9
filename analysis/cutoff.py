"""How to choose the cut-off of a low-pass: residual analysis.

A signal less its low-passed self leaves noise alone at high cut-offs, where what is left falls
along a straight line as the cut-off rises, and noise and signal at low ones. The line drawn back
to 0 Hz tells the noise; the cut-off at which as much is left as that balances what noise is let
through against what signal is lost (Winter, Biomechanics and Motor Control of Human Movement,
4th ed., section 3.4.4.3).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.filters import LowPass, smooth
from analysis.runs import runs_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

CUTOFFS_HZ: Floats = np.r_[1.0:12.0, 12.0:20.0:2.0, 20.0:104.0:7.0]
"""Those tried: close where voluntary movement ends, wide along the tail."""
LEAST_TAIL = 8
"""Fewer points make no line."""
STRAIGHT_R2 = 0.99
"""A tail with this share of its variance along a line is straight. Ours: by eye in the book."""
LEAST_S = 2.0
WINDOW_S = 20.0
"""So much of a recording is looked at, where the force changes most. Ours: one repetition."""


@dataclass(frozen=True, slots=True)
class ResidualCurve:
    """What a low-pass leaves over, against its cut-off.

    Attributes:
        cutoffs_hz: Shape (k,), −3 dB of both passes together.
        residual_rms: Shape (k,), in the unit of the signal, all channels together.
        noise_rms: The line of the tail at 0 Hz, NaN if no tail is straight.
        slope_per_hz: Of that line, NaN likewise.
        tail_from_hz: Where the straight part begins, NaN likewise.
        cutoff_hz: Where the residual is the noise, NaN if it is nowhere.
    """

    cutoffs_hz: Floats
    residual_rms: Floats
    noise_rms: float
    slope_per_hz: float
    tail_from_hz: float
    cutoff_hz: float


def residual_analysis(
    x: Floats, *, fs_hz: float, order: int = 2, cutoffs_hz: Floats = CUTOFFS_HZ
) -> ResidualCurve:
    """Return the residuals of a signal and the cut-off they speak for.

    Args:
        x: Shape (n,) or (n, channels), finite, not filtered yet.
        fs_hz: Sampling rate.
        order: Of the Butterworth filter of one pass.
        cutoffs_hz: Shape (k,), rising; those that do not fit the rate are left out.

    Raises:
        ValueError: The signal is shorter than `LEAST_S`, or fewer than `LEAST_TAIL` cut-offs fit.
    """
    cutoffs = cutoffs_hz[cutoffs_hz < 0.4 * fs_hz]
    if len(x) < LEAST_S * fs_hz or len(cutoffs) < LEAST_TAIL:
        raise ValueError(f"{len(x)} samples at {fs_hz:g} Hz are too few for a residual analysis")
    rms = np.array([_residual(x, LowPass(cutoff_hz=hz, order=order), fs_hz) for hz in cutoffs])
    start = _straight_from(cutoffs, rms)
    if start is None:
        return ResidualCurve(cutoffs, rms, np.nan, np.nan, np.nan, np.nan)
    slope, noise = np.polyfit(cutoffs[start:], rms[start:], 1)
    return ResidualCurve(
        cutoffs, rms, float(noise), float(slope), float(cutoffs[start]),
        _crossing(cutoffs, rms, float(noise)),
    )  # fmt: skip


def liveliest(x: Floats, known: Flags, *, fs_hz: float) -> Floats | None:
    """Return the known `WINDOW_S` of a signal (n, channels) in which it changes most.

    Shorter if nothing longer is known without a break; None if that is less than `LEAST_S`.
    """
    size = int(WINDOW_S * fs_hz)
    found = [
        x[at : min(at + size, stop)]
        for start, stop in runs_of(known)
        for at in range(start, stop, size)
        if min(at + size, stop) - at >= LEAST_S * fs_hz
    ]
    return max(found, key=lambda part: float(part.var(axis=0).sum()), default=None)


def _residual(x: Floats, spec: LowPass, fs_hz: float) -> float:
    rest = x - smooth(x, spec, fs_hz=fs_hz)
    return float(np.sqrt(np.mean(rest**2)))


def _straight_from(cutoffs: Floats, rms: Floats) -> int | None:
    """Return where the longest straight tail begins, None if even the shortest is bent."""
    for start in range(len(cutoffs) - LEAST_TAIL + 1):
        x, y = cutoffs[start:], rms[start:]
        if np.ptp(y) > 0.0 and np.corrcoef(x, y)[0, 1] ** 2 >= STRAIGHT_R2:
            return start
    return None


def _crossing(cutoffs: Floats, rms: Floats, noise: float) -> float:
    """Return the lowest cut-off that leaves no more than the noise, between those tried."""
    below = np.flatnonzero(rms <= noise)
    if len(below) == 0 or below[0] == 0:
        return np.nan
    at = below[0]
    share = (rms[at - 1] - noise) / (rms[at - 1] - rms[at])
    return float(cutoffs[at - 1] + share * (cutoffs[at] - cutoffs[at - 1]))
