"""Smoothness of a movement from its speed.

Balasubramanian, Melendez-Calderon & Burdet 2012 (IEEE Trans Biomed Eng 59:2126) and
Balasubramanian et al. 2015 (J NeuroEng Rehabil 12:112).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]

PAD_POWERS = 4
SPECTRUM_LIMIT_HZ = 10.0
AMPLITUDE_LIMIT = 0.05
ZOOMED = 1024
"""Movements are padded to so many samples, or a multiple: then many share one transform."""


def spectral_arc_length(speed: Floats, *, fs_hz: float) -> float:
    """Return SPARC: minus the length of the normalised spectrum's outline, ≤ 0, 0 is smoothest.

    A minimum-jerk movement has -1.41 whatever its length and size. The value moves by up to
    0.005 with the grid of the padded spectrum.

    Args:
        speed: Shape (n,), beginning and ending near rest.
        fs_hz: Sampling rate.

    Raises:
        ValueError: There is no movement in it.
    """
    size = int(2 ** (np.ceil(np.log2(len(speed))) + PAD_POWERS))
    inside = min(size // 2, int(SPECTRUM_LIMIT_HZ * size / fs_hz)) + 1
    frequency = np.arange(inside) * fs_hz / size
    spectrum, highest = _low_end(speed, size, inside)
    if not highest > 0.0:
        raise ValueError("there is no movement")
    spectrum = spectrum / highest
    strong = np.flatnonzero(spectrum >= AMPLITUDE_LIMIT)
    part = slice(strong[0], strong[-1] + 1)
    spectrum, frequency = spectrum[part], frequency[part]
    span = frequency[-1] - frequency[0]
    steps = np.hypot(np.diff(frequency) / span, np.diff(spectrum))
    return float(-steps.sum())


def _low_end(speed: Floats, size: int, count: int) -> tuple[Floats, float]:
    """Return the first *count* amplitudes of the spectrum padded to *size*, and the highest of all.

    A speed that never turns round has its highest at 0 Hz, so the low end is enough: by the chirp
    z-transform it costs a fifth (Rabiner, Schafer & Rader 1969, IEEE Trans Audio 17:86).
    """
    if (speed < 0.0).any():
        spectrum = np.abs(np.fft.rfft(speed, size))
        return spectrum[:count], float(spectrum.max())
    length = -(-len(speed) // ZOOMED) * ZOOMED
    padded = np.pad(speed, (0, length - len(speed)))
    spectrum = np.abs(_zoom(length, count, size)(padded))
    return spectrum, float(spectrum[0])


@lru_cache(maxsize=16)
def _zoom(length: int, count: int, size: int) -> signal.ZoomFFT:
    return signal.ZoomFFT(length, count, count, fs=size)


def log_dimensionless_jerk(speed: Floats, *, fs_hz: float) -> float:
    """Return LDLJ: -ln of the squared jerk made dimensionless by duration and peak speed.

    A minimum-jerk movement has -ln 204.8 = -5.322. Sensitive to pauses and to its ends.

    Args:
        speed: Shape (n,), beginning and ending near rest, low-passed.
        fs_hz: Sampling rate.

    Raises:
        ValueError: There is no movement, or the speed never changes its slope.
    """
    peak = float(np.abs(speed).max()) if len(speed) > 2 else 0.0
    if not peak > 0.0:
        raise ValueError("there is no movement")
    step_s = 1.0 / fs_hz
    jerk = np.diff(speed, 2) / step_s**2
    duration = len(speed) * step_s
    total = float(np.sum(jerk**2) * step_s * duration**3 / peak**2)
    if not total > 0.0:
        raise ValueError("the speed never changes its slope")
    return float(-np.log(total))
