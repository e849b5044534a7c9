"""Slopes and intervals that a few bad samples, or samples that hang together, do not spoil."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEVEL = 0.95
LEAST_BLOCKS = 4
"""Fewer independent stretches show no scatter to speak of. Ours."""
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
    samples that hang together take `bootstrap_interval`.

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


def block_means(rows: Floats, block: int) -> Floats:
    """Return the means of consecutive blocks of rows (n, …), the incomplete last one left out."""
    count = len(rows) // block
    if not count:
        return np.empty((0, *rows.shape[1:]))
    # Several times faster than the mean of a short axis.
    starts = np.arange(0, count * block, block)
    return np.asarray(np.add.reduceat(rows[: count * block], starts, axis=0) / block)


def resampled_means(
    rows: Floats, *, block: int, rng: np.random.Generator, resamples: int
) -> Floats:
    """Return means of rows that hang together, drawn again by moving blocks.

    As `bootstrap_interval`, for statistics that are functions of means; these cost a hundredth.

    Args:
        rows: Shape (n, k), in order, evenly spaced.
        block: Rows of a block.
        rng: Draws the blocks.
        resamples: How often.

    Returns:
        Shape (resamples, k).

    Raises:
        ValueError: There are not two blocks in *rows*.
    """
    count = len(rows)
    if not 1 <= block <= count // 2:
        raise ValueError(f"blocks of {block} do not fit twice into {count} rows")
    total = np.concatenate([np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0)])
    means = (total[block:] - total[:-block]) / block
    starts = rng.integers(0, len(means), size=(resamples, -(-count // block)))
    return np.asarray(np.take(means, starts, axis=0).mean(axis=1))


def bootstrap_interval(
    statistic: Callable[[Floats], float],
    rows: Floats,
    *,
    block: int,
    rng: np.random.Generator,
    resamples: int = 400,
) -> tuple[float, float]:
    """Return the 95 % interval of a statistic of rows that hang together, by percentiles.

    Moving blocks (Künsch 1989, Ann Stat 17:1217): what is drawn again are stretches of *block*
    rows, so that what hangs together within them stays so. Choose *block* several times as
    long as the rows hang together.

    Args:
        statistic: Of rows like *rows*.
        rows: Shape (n, …), in order, evenly spaced.
        block: 1 is the ordinary bootstrap.
        rng: Draws the blocks.
        resamples: How often.

    Raises:
        ValueError: There are not two blocks in *rows*.
    """
    count = len(rows)
    if not 1 <= block <= count // 2:
        raise ValueError(f"blocks of {block} do not fit twice into {count} rows")
    blocks = -(-count // block)
    starts = rng.integers(0, count - block + 1, size=(resamples, blocks))
    within = np.arange(block)
    drawn = [statistic(rows[(row[:, np.newaxis] + within).ravel()[:count]]) for row in starts]
    low, high = np.quantile(drawn, [(1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0])
    return float(low), float(high)
