"""Low-pass filters: one specification, an offline form without delay, a live form with one.

Angles are never filtered: vectors are, and angles are resolved from them.
"""

from __future__ import annotations

from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta
from numpy.typing import NDArray
from scipy import ndimage, signal

from analysis.runs import runs_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MAD_TO_SD = 1.482602218505602
"""Median absolute deviation to standard deviation, normal distribution: 1/Φ⁻¹(3/4)."""


class LowPass(msgspec.Struct, frozen=True, kw_only=True):
    """What a low-pass does; it holds no signal.

    Attributes:
        cutoff_hz: Where its gain is -3 dB: of both passes together offline, of the one live.
        order: Of the Butterworth filter of one pass.
    """

    cutoff_hz: Annotated[float, Meta(gt=0)]
    order: Annotated[int, Meta(ge=1, le=8)] = 2


def dual_pass_factor(order: int) -> float:
    """Return what the design cut-off of one pass is divided by so that two passes keep -3 dB.

    (√2 − 1)^(1/2n): 0.802 for the second order (Winter, Biomechanics and Motor Control of Human
    Movement; recomputed from |H|⁴ = 1/2).
    """
    return float((np.sqrt(2.0) - 1.0) ** (1.0 / (2 * order)))


def design(spec: LowPass, *, fs_hz: float, passes: int) -> Floats:
    """Return second-order sections of one pass.

    Args:
        spec: The filter.
        fs_hz: Sampling rate.
        passes: 2 corrects the cut-off for going forward and back, 1 does not.

    Raises:
        ValueError: The cut-off does not fit *fs_hz*.
    """
    factor = dual_pass_factor(spec.order) if passes == 2 else 1.0
    # The correction holds for the analogue prototype: apply it behind the bilinear warping.
    warped = np.tan(np.pi * spec.cutoff_hz / fs_hz) / factor
    edge_hz = fs_hz / np.pi * np.arctan(warped)
    if not 0 < spec.cutoff_hz < 0.4 * fs_hz:
        raise ValueError(f"a cut-off of {spec.cutoff_hz} Hz does not fit a rate of {fs_hz} Hz")
    sections: Floats = signal.butter(spec.order, edge_hz, fs=fs_hz, output="sos")
    return sections


def smooth(x: Floats, spec: LowPass, *, fs_hz: float) -> Floats:
    """Filter a whole signal forward and back, without delay.

    Args:
        x: Shape (n,) or (n, channels), finite.
        spec: The filter; its cut-off is that of both passes together.
        fs_hz: Sampling rate. There is no default, on purpose.

    Returns:
        The smoothed signal, same shape and unit.

    Raises:
        ValueError: *x* is not finite, or the cut-off does not fit *fs_hz*.
    """
    if not np.isfinite(x).all():
        raise ValueError("x must be finite: cut it at its gaps first")
    sections = design(spec, fs_hz=fs_hz, passes=2)
    if len(x) < 2:
        return x.copy()
    pad = min(len(x) - 1, int(3 * fs_hz / spec.cutoff_hz))
    smoothed: Floats = signal.sosfiltfilt(sections, x, axis=0, padtype="even", padlen=pad)
    return smoothed


def smooth_runs(x: Floats, known: Flags, spec: LowPass, *, fs_hz: float) -> Floats:
    """Filter each known stretch by itself; NaN between them.

    Args:
        x: Shape (n, channels); rows that are not known may hold anything.
        known: Shape (n,).
        spec: The filter.
        fs_hz: Sampling rate.
    """
    out = np.full_like(x, np.nan)
    for start, stop in runs_of(known):
        out[start:stop] = smooth(x[start:stop], spec, fs_hz=fs_hz)
    return out


def without_spikes(x: Floats, *, sds: float) -> tuple[Floats, int]:
    """Replace single-sample spikes by the median of their neighbours.

    A spike differs from the median of five samples by more than *sds* robust standard
    deviations of that difference over the whole signal (Hampel identifier). Two or more
    wrong samples in a row are no spike: they stay, and should be looked at.

    Args:
        x: Shape (n, channels), finite.
        sds: The threshold.

    Returns:
        The signal, and how many values were replaced.
    """
    if len(x) < 5:
        return x, 0
    median = ndimage.median_filter(x, size=(5, 1), mode="nearest")
    away = np.abs(x - median)
    # Half a sample's noise is the least that can be told: else a constant signal has spikes.
    spread = MAD_TO_SD * np.median(away, axis=0) + 1e-12
    rough = np.maximum(spread, np.std(np.diff(x, axis=0), axis=0) / np.sqrt(2.0) * 0.5)
    spikes = away > sds * rough
    return np.where(spikes, median, x), int(spikes.sum())


class LiveLowPass:
    """The one-way twin of `smooth`, for blocks as they come.

    Cutting the signal into blocks anywhere changes nothing, and a resting signal passes from
    its first sample on. It lags by `delay_s` on slow signals.
    """

    def __init__(self, spec: LowPass, *, fs_hz: float) -> None:
        self._sections = design(spec, fs_hz=fs_hz, passes=1)
        self._state: Floats | None = None
        self.delay_s = live_delay_s(spec)

    def __call__(self, block: Floats) -> Floats:
        """Return the block (n, channels) filtered; the state goes on to the next."""
        if len(block) == 0:
            return block
        if self._state is None:
            rest = signal.sosfilt_zi(self._sections)
            self._state = rest[:, :, np.newaxis] * block[np.newaxis, :1, :]
        out, self._state = signal.sosfilt(self._sections, block, axis=0, zi=self._state)
        return np.asarray(out)

    def reset(self) -> None:
        """Forget everything, as after a gap."""
        self._state = None


def live_delay_s(spec: LowPass) -> float:
    """Return the delay of the one-way form on slow signals (group delay at 0 Hz), seconds."""
    poles = signal.buttap(spec.order)[1]
    return float(np.sum(np.real(-1.0 / poles)) / (2 * np.pi * spec.cutoff_hz))
