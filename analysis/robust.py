"""Slopes that a few bad samples do not spoil."""

from __future__ import annotations

from dataclasses import dataclass

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
    first, second = np.triu_indices(len(x), k=1)
    run, rise = x[second] - x[first], y[second] - y[first]
    slopes = np.sort(rise[run != 0.0] / run[run != 0.0])
    if not len(slopes):
        raise ValueError("a slope needs two different values of x")
    # How many ranks from the middle the interval reaches: the SD of Kendall's S, ties left out.
    reach = NORMAL_95 * _kendall_sd(x, y)
    low = max(0, round((len(slopes) - reach) / 2.0) - 1)
    high = min(len(slopes) - 1, round((len(slopes) + reach) / 2.0))
    return Slope(float(np.median(slopes)), float(slopes[low]), float(slopes[high]))


def _kendall_sd(x: Floats, y: Floats) -> float:
    """Return the SD of Kendall's S of independent *x* and *y*, (n,), with ties."""
    ties = np.concatenate(
        [np.unique(x, return_counts=True)[1], np.unique(y, return_counts=True)[1]]
    )
    count = len(x)
    variance = count * (count - 1) * (2 * count + 5)
    variance -= int(np.sum(ties * (ties - 1) * (2 * ties + 5)))
    return float(np.sqrt(max(0, variance) / 18.0))
