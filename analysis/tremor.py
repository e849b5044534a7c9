"""How much a force trembles in a band of frequencies.

Physiological tremor of a hand lies at 8 to 12 Hz (common practice), where the low-pass of the
analysis already bites. Its gain is known, so it is divided out again, in the spectrum; noise that
is divided out with it is small, as the gain stays above a quarter in the band.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from analysis.filters import LowPass, design
from analysis.series import Smoothing

Floats = NDArray[np.float64]

SEGMENT_S = 1.0
"""Length of the segments of Welch's method: a resolution of 1 Hz, and trends taken out of each."""
SAMPLES_OF_A_WAVE = 8
"""So many samples of a wave at the upper edge are looked at, if the force was low-passed."""
LEAST_GAIN = 0.25
"""Where less than this is left of the amplitude nothing is divided out: the band is not seen."""


def band_rms(
    runs: Iterable[Floats],
    band_hz: tuple[float, float],
    *,
    fs_hz: float,
    smoothing: Smoothing | None,
) -> float:
    """Return the root mean square of a signal within a band, NaN if no run is long enough.

    Welch 1967 (IEEE Trans Audio Electroacoust 15:70): Hann windows, half overlapping, a straight
    line taken out of each; runs count by their length.

    Args:
        runs: Stretches without gaps, each (n,).
        band_hz: Lower and upper edge.
        fs_hz: Rate.
        smoothing: The low-pass that the signal went through, None if none.

    Raises:
        ValueError: The rate or the low-pass does not let the band through.
    """
    # What the low-pass took cannot fold back, so most samples of a high rate can be left out.
    step = max(1, int(fs_hz / (SAMPLES_OF_A_WAVE * band_hz[1]))) if smoothing else 1
    rate_hz = fs_hz / step
    size = round(SEGMENT_S * rate_hz)
    hz = np.fft.rfftfreq(size, 1.0 / rate_hz)
    inside = (hz >= band_hz[0]) & (hz <= band_hz[1])
    gain = gain_of(smoothing, tuple(hz[inside].tolist()), fs_hz=fs_hz)
    if not inside.any() or fs_hz < 2.0 * band_hz[1] or gain.min() < LEAST_GAIN:
        raise ValueError("the rate or the low-pass does not let the band through")
    power, weight = 0.0, 0
    for run in runs:
        some = run[::step]
        if len(some) < size:
            continue
        density = welch_density(some, size, fs_hz=rate_hz)
        power += len(some) * float(np.trapezoid(density[inside] / gain**2, hz[inside]))
        weight += len(some)
    return float(np.sqrt(power / weight)) if weight else float("nan")


def welch_density(x: Floats, size: int, *, fs_hz: float) -> Floats:
    """Return the one-sided power density of a signal (n,), shape (size // 2 + 1,).

    What `scipy.signal.welch` does, without its cost per call, ten times that of the sums: a
    phase has few segments, and an hour many phases.

    Args:
        x: At least *size* samples.
        size: Of a segment; they overlap by half.
        fs_hz: Rate.
    """
    window = signal.windows.hann(size, sym=False)
    segments = np.lib.stride_tricks.sliding_window_view(x, size)[:: size - size // 2]
    power = np.abs(np.fft.rfft(_without_line(segments) * window)) ** 2
    density = power.mean(axis=0) / (fs_hz * np.sum(window**2))
    # 0 Hz and half the rate have no twin among the negative frequencies.
    density[1 : (size + 1) // 2] *= 2.0
    return np.asarray(density)


def _without_line(segments: Floats) -> Floats:
    # Sums, not least squares: those wake the threads of the linear algebra, which costs more.
    time = np.arange(segments.shape[-1]) - (segments.shape[-1] - 1) / 2.0
    off = segments - segments.mean(axis=-1, keepdims=True)
    slope = np.sum(time * off, axis=-1, keepdims=True) / np.sum(time**2)
    return np.asarray(off - slope * time)


@lru_cache
def gain_of(smoothing: Smoothing | None, hz: tuple[float, ...], *, fs_hz: float) -> Floats:
    """Return the gain of a low-pass at some frequencies, shape (n,); 1 without one."""
    if smoothing is None:
        return np.ones(len(hz))
    spec = LowPass(cutoff_hz=smoothing.cutoff_hz, order=smoothing.order)
    sections = design(spec, fs_hz=fs_hz, passes=smoothing.passes)
    _, response = signal.freqz_sos(sections, np.array(hz), fs=fs_hz)
    return np.asarray(np.abs(response) ** smoothing.passes)
