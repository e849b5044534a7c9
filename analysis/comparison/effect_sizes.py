"""How large a difference is, with its interval: in its unit, and in standard deviations.

Standardised differences are Hedges's g (Hedges 1981, J Educ Stat 6:107): the difference over the
pooled SD, freed of its small-sample bias. Their intervals come from the non-central t
distribution (Steiger & Fouladi 1997), which is exact for normal values of equal variance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

Floats = NDArray[np.float64]

LEVEL = 0.95
NO_SPREAD = "values that do not differ have no spread to measure by"


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate and the interval that holds the truth with chance `LEVEL`."""

    value: float
    low: float
    high: float

    @property
    def excludes_zero(self) -> bool:
        """Whether zero lies outside."""
        return self.low > 0.0 or self.high < 0.0


@dataclass(frozen=True, slots=True)
class Difference:
    """One set of values against another, second minus first.

    Attributes:
        mean: Difference of the means, in the unit of the values.
        standardised: Hedges's g; of pairs, over the SD of their differences.
        counts: How many values of each.
        p: Two-sided chance of a difference as large if there is none.
    """

    mean: Interval
    standardised: Interval
    counts: tuple[int, int]
    p: float


@dataclass(frozen=True, slots=True)
class Case:
    """One value against a small sample.

    Attributes:
        sds: How many SD of the sample the value lies above its mean.
        t: Of the test whether the value could be one more of the sample.
        p: Its two-sided chance if it is.
        count: Size of the sample.
    """

    sds: Interval
    t: float
    p: float
    count: int


def difference(first: Sequence[float] | Floats, second: Sequence[float] | Floats) -> Difference:
    """Return how two sets of independent values differ.

    The interval of the means is Welch's (1947), for variances that may differ.

    Raises:
        ValueError: A set has fewer than two values, or none of them differ.
    """
    one, other = _checked(first), _checked(second)
    n, m = len(one), len(other)
    errors = np.array([one.var(ddof=1) / n, other.var(ddof=1) / m])
    degrees = errors.sum() ** 2 / np.sum(errors**2 / [n - 1, m - 1])
    half = stats.t.ppf((1.0 + LEVEL) / 2.0, degrees) * np.sqrt(errors.sum())
    mean = float(other.mean() - one.mean())
    pooled = np.sqrt(((n - 1) * one.var(ddof=1) + (m - 1) * other.var(ddof=1)) / (n + m - 2))
    scale = np.sqrt(1.0 / n + 1.0 / m)
    g = _standardised(mean / float(pooled), float(scale), n + m - 2)
    p = _two_sided(mean / float(np.sqrt(errors.sum())), float(degrees))
    return Difference(Interval(mean, mean - float(half), mean + float(half)), g, (n, m), p)


def pooled_difference(
    first: Sequence[float] | Floats, second: Sequence[float] | Floats
) -> Difference:
    """Return how two small sets of independent values of one spread differ.

    The pooled form of Student's t: with one value against several it is the test of a case, with
    few of each it does not lose the degrees of freedom that Welch's does.

    Raises:
        ValueError: Both have one value, one has none, or the values of a set never differ.
    """
    one, other = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    n, m = len(one), len(other)
    free = n + m - 2
    if min(n, m) < 1 or free < 1:
        raise ValueError(f"{_values(n)} and {_values(m)} have no spread to measure by")
    squares = float(np.sum((one - one.mean()) ** 2) + np.sum((other - other.mean()) ** 2))
    if not squares > 0.0:
        raise ValueError(NO_SPREAD)
    pooled, scale = np.sqrt(squares / free), float(np.sqrt(1.0 / n + 1.0 / m))
    mean, error = float(other.mean() - one.mean()), float(pooled * scale)
    half = float(stats.t.ppf((1.0 + LEVEL) / 2.0, free)) * error
    g = _standardised(mean / float(pooled), scale, free)
    return Difference(
        Interval(mean, mean - half, mean + half), g, (n, m), _two_sided(mean / error, free)
    )


def paired_difference(
    first: Sequence[float] | Floats, second: Sequence[float] | Floats
) -> Difference:
    """Return how pairs of values differ.

    Raises:
        ValueError: The sets differ in length, have fewer than two values, or every pair differs
            by the same.
    """
    one, other = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if len(one) != len(other):
        raise ValueError(f"{len(one)} and {len(other)} values make no pairs")
    change = _checked(other - one)
    n = len(change)
    mean, sd = float(change.mean()), float(change.std(ddof=1))
    half = float(stats.t.ppf((1.0 + LEVEL) / 2.0, n - 1)) * sd / np.sqrt(n)
    g = _standardised(mean / sd, 1.0 / np.sqrt(n), n - 1)
    p = _two_sided(mean / sd * float(np.sqrt(n)), n - 1)
    return Difference(Interval(mean, mean - half, mean + half), g, (n, n), p)


def case_against(sample: Sequence[float] | Floats, value: float) -> Case:
    """Return how far one value lies from a small sample.

    The test is that of Crawford & Howell 1998 (Clin Neuropsychol 12:482), which counts in that
    mean and SD of the sample are estimates; the interval that of Crawford & Garthwaite 2002
    (Neuropsychologia 40:1196).

    Raises:
        ValueError: The sample has fewer than two values, or none of them differ.
    """
    known = _checked(sample)
    n, sd = len(known), float(known.std(ddof=1))
    sds = (value - float(known.mean())) / sd
    t = sds / np.sqrt(1.0 + 1.0 / n)
    low, high = (bound / np.sqrt(n) for bound in _noncentrality(sds * np.sqrt(n), n - 1))
    return Case(Interval(sds, float(low), float(high)), float(t), _two_sided(float(t), n - 1), n)


def holm(chances: Sequence[float]) -> list[float]:
    """Return chances of several tests, adjusted for all of them together.

    Holm's step-down procedure (1979, Scand J Stat 6:65): of all tests where nothing differs, any
    falls below a level with that chance at most, however they hang together.

    Args:
        chances: Of each test, in any order.
    """
    p = np.asarray(chances, dtype=np.float64)
    order = np.argsort(p, kind="stable")
    steps = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(steps, 1.0)
    found: list[float] = adjusted.tolist()
    return found


def _checked(values: Sequence[float] | Floats) -> Floats:
    known = np.asarray(values, dtype=np.float64)
    if len(known) < 2:
        raise ValueError(f"of {_values(len(known))} no spread is known: at least 2 are needed")
    if not known.var() > 0.0:
        raise ValueError(NO_SPREAD)
    return known


def _values(count: int) -> str:
    return "1 value" if count == 1 else f"{count} values"


def _two_sided(t: float, degrees: float) -> float:
    return 2.0 * float(stats.t.sf(abs(t), degrees))


def _standardised(d: float, scale: float, degrees: int) -> Interval:
    """Return g and its interval; the t of the difference is d / *scale*."""
    low, high = _noncentrality(d / scale, degrees)
    free = _bias(degrees)
    return Interval(free * d, free * low * scale, free * high * scale)


def _bias(degrees: int) -> float:
    """Return what a standardised difference is multiplied by to be unbiased (Hedges 1981)."""
    log = special.gammaln(degrees / 2.0) - special.gammaln((degrees - 1) / 2.0)
    return float(np.exp(log) / np.sqrt(degrees / 2.0)) if degrees > 1 else 1.0


def _noncentrality(t: float, degrees: int) -> tuple[float, float]:
    """Return between which non-centralities a t as seen is not unlikely."""
    tail = (1.0 - LEVEL) / 2.0

    def solve(chance: float) -> float:
        def off(nc: float) -> float:
            below = float(stats.nct.cdf(t, degrees, nc))
            if np.isnan(below):  # the library's answer far out in a tail
                below = float(nc < t)
            return below - chance

        wide = 5.0
        while off(t - wide) < 0.0 or off(t + wide) > 0.0:
            wide *= 2.0
        return float(optimize.brentq(off, t - wide, t + wide, xtol=1e-10))

    return solve(1.0 - tail), solve(tail)
