"""Low-pass filters: one specification, an offline form without delay, a live form with one.

Angles are never filtered: vectors are, and angles are resolved from them.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta
from numpy.typing import NDArray
from scipy import signal

from analysis.runs import parts_of, runs_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MAD_TO_SD = 1.482602218505602
"""Median absolute deviation to standard deviation, normal distribution: 1/Φ⁻¹(3/4)."""

LONG = 100_000
"""Samples from which channels are filtered one after the other."""
NOISE_STEPS = 100_000
"""Steps looked at for a channel's noise: plenty, and quick in an hour's recording."""


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
    return _butterworth(spec.order, float(edge_hz), fs_hz).copy()


@lru_cache
def _butterworth(order: int, edge_hz: float, fs_hz: float) -> Floats:
    # Once for a specification: each repetition asks for the same one.
    sections: Floats = signal.butter(order, edge_hz, fs=fs_hz, output="sos")
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
    if len(sections) == 1:  # the same in the form of a fraction costs a quarter less
        above, below = sections[0, :3], sections[0, 3:]
        return np.asarray(signal.filtfilt(above, below, x, axis=0, padtype="even", padlen=pad))
    return np.asarray(signal.sosfiltfilt(sections, x, axis=0, padtype="even", padlen=pad))


def smooth_runs(x: Floats, known: Flags, spec: LowPass, *, fs_hz: float) -> Floats:
    """Filter each known stretch by itself; NaN between them.

    Args:
        x: Shape (n, channels); rows that are not known may hold anything.
        known: Shape (n,).
        spec: The filter.
        fs_hz: Sampling rate.
    """
    smoothed = x.copy(order="K")
    smooth_in_place(smoothed, known, spec, fs_hz=fs_hz)
    return smoothed


def smooth_in_place(x: Floats, known: Flags, spec: LowPass, *, fs_hz: float) -> None:
    """Do what `smooth_runs` does, to *x* itself: an hour is too much to be held twice."""
    x[~known] = np.nan
    for start, stop in runs_of(known):
        if stop - start < LONG:
            x[start:stop] = smooth(x[start:stop], spec, fs_hz=fs_hz)
            continue
        for column in x.T if x.ndim > 1 else (x,):  # all at once would take four times the memory
            column[start:stop] = smooth(column[start:stop], spec, fs_hz=fs_hz)


def slope_runs(x: Floats, known: Flags, *, fs_hz: float) -> Floats:
    """Return the rate of change inside each known stretch by itself; NaN between them.

    Central differences, one-sided at the ends of a stretch; 0 for a sample that stands alone.

    Args:
        x: Shape (n, channels), filtered.
        known: Shape (n,).
        fs_hz: Sampling rate.
    """
    out = np.full_like(x, np.nan)
    for start, stop in runs_of(known):
        alone = stop - start < 2
        out[start:stop] = 0.0 if alone else np.gradient(x[start:stop], 1.0 / fs_hz, axis=0)
    return out


def slope_of_part(x: Floats, known: Flags, part: slice, *, fs_hz: float) -> Floats:
    """Return some rows of what `slope_runs` gives, without working out the others."""
    around = slice(max(0, part.start - 1), part.stop + 1)
    slope = slope_runs(x[around], known[around], fs_hz=fs_hz)
    return slope[part.start - around.start :][: part.stop - part.start]


def without_spikes(counts: NDArray[np.int32], *, sds: float) -> tuple[NDArray[np.int32], int]:
    """Replace single-sample spikes of raw counts by the median of five.

    A spike stands out from the median of itself and two neighbours on each side by more than
    *sds* robust standard deviations of the channel's noise (Hampel 1974, J Am Stat Assoc 69:383),
    and by more than twice what the neighbours differ among themselves, so that a fast but real
    change is none. Two wrong samples in a row are no spike: they stay, and should be looked at.

    Args:
        counts: Shape (n, channels).
        sds: The threshold.

    Returns:
        The counts, the same array if there is no spike in them, and how many values were replaced.
    """
    if len(counts) < 5:
        return counts, 0
    limits = sds * _noise_counts(counts)
    found = np.concatenate(
        [
            _peaks(counts[part.start : part.stop + 4], limits / 2.0) + np.array([part.start, 0])
            for part in parts_of(len(counts) - 4)
        ]
    )
    at, channel = found.T
    window = counts[at[:, np.newaxis] + np.arange(5), channel[:, np.newaxis]].astype(np.float64)
    median = np.median(window, axis=1)
    rest = np.ptp(np.delete(window, 2, axis=1), axis=1) if len(window) else median
    spikes = np.abs(window[:, 2] - median) > np.maximum(limits[channel], 2.0 * rest)
    if not spikes.any():
        return counts, 0
    cleaned = counts.copy()
    cleaned[at[spikes] + 2, channel[spikes]] = median[spikes]
    return cleaned, int(spikes.sum())


def _peaks(counts: NDArray[np.int32], limits: Floats) -> NDArray[np.int64]:
    """Return (row, channel) of each value whose step up is followed by one down, or the reverse.

    Rows are counted from two before the value. Few are left to be looked at closely.
    """
    step = np.diff(np.ascontiguousarray(counts.T, dtype=np.float64), axis=1)
    high = np.abs(step) > limits[:, np.newaxis]
    channel, row = np.nonzero(high[:, 1:-2] & high[:, 2:-1])
    turns = step[channel, row + 1] * step[channel, row + 2] < 0.0
    return np.stack([row[turns], channel[turns]], axis=1)


def _noise_counts(counts: NDArray[np.int32]) -> Floats:
    """Return the SD of each channel's noise from its steps, at least one count."""
    every = max(1, (len(counts) - 1) // NOISE_STEPS)
    before = np.array(counts[:-1:every].T, dtype=np.float64, order="C")
    step = np.abs(counts[1::every].T - before)
    sd = MAD_TO_SD * np.median(step, axis=1) / np.sqrt(2.0)
    return np.asarray(np.maximum(1.0, sd))


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


def smooth_live(low_pass: LiveLowPass, values: Floats, known: Flags) -> Floats:
    """Filter the known stretches of a block, each from rest; the last one may go on."""
    out = np.full_like(values, np.nan)
    if not known[0]:
        low_pass.reset()
    for start, stop in runs_of(known):
        if start > 0:
            low_pass.reset()
        out[start:stop] = low_pass(values[start:stop])
    if not known[-1]:
        low_pass.reset()
    return out


def live_delay_s(spec: LowPass) -> float:
    """Return the delay of the one-way form on slow signals (group delay at 0 Hz), seconds."""
    poles = signal.buttap(spec.order)[1]
    return float(np.sum(np.real(-1.0 / poles)) / (2 * np.pi * spec.cutoff_hz))
