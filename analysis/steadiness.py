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
    off = without_change_along(values, [time_s])
    return float(np.sqrt(np.sum(off**2) / (len(values) - 2)))


def without_change_along(values: Floats, ways: list[Floats]) -> Floats:
    """Return what is left of values (n,), less their mean, when changes along *ways* are out.

    Args:
        values: Shape (n,).
        ways: Each (n,); the least-squares plane over all of them is taken off.
    """
    # Sums, not dot products: those wake the threads of the linear algebra, which costs more.
    off, before = values - values.mean(), list[Floats]()
    for way in ways:
        across = way - way.mean()
        for one in before:
            across = across - np.sum(one * across) * one
        size = float(np.sqrt(np.sum(across**2)))
        if size > 0.0:
            before.append(across / size)
            off = off - np.sum(before[-1] * off) * before[-1]
    return np.asarray(off)
