"""How steadily a force is held.

The coefficient of variation is the usual measure; the SD about a linear trend tells tremble
from a slow change (Baweja et al. 2010, Eur J Appl Physiol 108:935 report it so).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def coefficient_of_variation_percent(values: Floats) -> float:
    """Return 100·SD/mean of values (n,), n ≥ 2; the sample SD.

    Raises:
        ValueError: The mean is not above 0.
    """
    mean = float(values.mean())
    if not mean > 0.0:
        raise ValueError("a coefficient of variation needs a mean above 0")
    return float(100.0 * values.std(ddof=1) / mean)


def detrended_sd(values: Floats, time_s: Floats) -> float:
    """Return the SD of values (n,) about their straight line against *time_s* (n,), n ≥ 3.

    Against time and not against the sample number: the samples may have gaps.
    """
    # Sums, not dot products: those wake the threads of the linear algebra, which costs more.
    time = time_s - time_s.mean()
    off = values - values.mean()
    spread = float(np.sum(time**2))
    if spread > 0.0:
        off -= np.sum(time * off) / spread * time
    return float(np.sqrt(np.sum(off**2) / (len(values) - 2)))
