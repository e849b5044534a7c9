"""Slopes that a few bad samples do not spoil."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NORMAL_95 = 1.959963984540054
"""97.5 % quantile of the normal distribution."""


@dataclass(frozen=True, slots=True)
class Slope:
    """A robust slope.

    Attributes:
        slope: Median of the slopes of all pairs.
        low: Lower end of its 95 % interval, for independent samples.
        high: Upper end.
    """

    slope: float
    low: float
    high: float


def theil_sen(x: Floats, y: Floats, *, most: int) -> Slope:
    """Return the slope of *y* against *x*, both (n,).

    Theil 1950; interval by Sen 1968 (J Am Stat Assoc 63:1379). All pairs are looked at, so no
    more than *most* samples are, evenly picked. The interval supposes independent samples: for
    samples that hang together take `analysis.memory`.

    Raises:
        ValueError: *x* has fewer than two different values.
    """
    step = -(-len(x) // most) or 1
    x, y = x[::step], y[::step]
    first, second = _pairs(len(x))
    run = x.take(second) - x.take(first)
    rise = y.take(second) - y.take(first)
    apart = run != 0.0
    slopes = np.sort(rise[apart] / run[apart])
    if not len(slopes):
        raise ValueError("a slope needs two different values of x")
    # How many ranks from the middle the interval reaches: the SD of Kendall's S, ties left out.
    reach = NORMAL_95 * _kendall_sd(x, y)
    low = max(0, round((len(slopes) - reach) / 2.0) - 1)
    high = min(len(slopes) - 1, round((len(slopes) + reach) / 2.0))
    return Slope(float(np.median(slopes)), float(slopes[low]), float(slopes[high]))


@lru_cache(maxsize=4)  # most phases have as many points as are looked at
def _pairs(count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the first and the second of each pair of *count*."""
    return np.triu_indices(count, k=1)


def _kendall_sd(x: Floats, y: Floats) -> float:
    """Return the SD of Kendall's S of independent *x* and *y*, (n,), with ties."""
    ties = np.concatenate(
        [np.unique(x, return_counts=True)[1], np.unique(y, return_counts=True)[1]]
    )
    count = len(x)
    variance = count * (count - 1) * (2 * count + 5)
    variance -= int(np.sum(ties * (ties - 1) * (2 * ties + 5)))
    return float(np.sqrt(max(0, variance) / 18.0))
