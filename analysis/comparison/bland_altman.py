"""Agreement of two methods that measure the same thing: bias and limits, with intervals.

Bland & Altman 1986 (Lancet i:307) for single pairs, 1999 (Stat Methods Med Res 8:135) for several
measurements of each subject: section 5.2 where each method measured an unchanging truth a few
times, 5.3 where each pair was of one moment and the truth went on. Intervals are those of the 1986
paper for single pairs; else by recovering variances (Zou 2013, Stat Methods Med Res 22:630).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.comparison.effect_sizes import LEVEL, Interval

Floats = NDArray[np.float64]

REACH = 1.96
"""Limits lie this many SD from the bias: 95 % of a normal distribution."""


class Design(StrEnum):
    """What a subject's several measurements are."""

    SINGLE = "one pair of each subject"
    UNCHANGING = "each method measured an unchanging truth several times"
    CHANGING = "several pairs of each subject, each of one moment"


@dataclass(frozen=True, slots=True)
class Trend:
    """How the difference changes with the measure: proportional bias.

    Attributes:
        slope: Change of the difference with the mean of both, one point for each subject.
        p: Its two-sided chance where the difference is the same all along.
    """

    slope: Interval
    p: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """How two methods agree; differences are second minus first.

    Attributes:
        design: What was measured.
        subjects: How many.
        pairs: How many differences in all.
        bias: Mean difference.
        sd: Of a single difference.
        lower: Below it lie 2.5 % of the differences.
        upper: Above it likewise.
        trend: Of the difference with the mean of both: none where the limits hold all along;
            None where all means are the same.
    """

    design: Design
    subjects: int
    pairs: int
    bias: Interval
    sd: float
    lower: Interval
    upper: Interval
    trend: Trend | None


def agreement(pairs: Mapping[str, Sequence[tuple[float, float]]]) -> Agreement:
    """Return how two methods agree on pairs, each of one moment.

    Args:
        pairs: By subject: what the first method and what the second one said.

    Raises:
        ValueError: There are fewer than three subjects, or, with several pairs of each, no
            subject with two.
    """
    first = [np.array([one for one, _ in rows], dtype=np.float64) for rows in pairs.values()]
    second = [np.array([two for _, two in rows], dtype=np.float64) for rows in pairs.values()]
    apart = [two - one for one, two in zip(first, second, strict=True)]
    means = [float((one + two).mean()) for one, two in zip(first, second, strict=True)]
    trend = _trend(np.array([one.mean() for one in apart]), np.array(means))
    if all(len(rows) == 1 for rows in apart):
        return _of_single_pairs(np.concatenate(apart), trend)
    return _of_changing(apart, trend)


def agreement_of_repeats(
    first: Mapping[str, Sequence[float]], second: Mapping[str, Sequence[float]]
) -> Agreement:
    """Return how two methods agree that each measured an unchanging truth several times.

    Args:
        first: By subject, what the first method said each time.
        second: Likewise the second, of the same subjects.

    Raises:
        ValueError: The subjects differ, are fewer than three, or nobody was measured twice.
    """
    if set(first) != set(second):
        raise ValueError("both methods must have measured the same subjects")
    one, two = (
        [np.asarray(way[who], dtype=np.float64) for who in first] for way in (first, second)
    )
    _enough(len(one))
    means = np.array([[a.mean(), b.mean()] for a, b in zip(one, two, strict=True)])
    apart = means[:, 1] - means[:, 0]
    variances, weights, degrees = [float(apart.var(ddof=1))], [1.0], [len(apart) - 1]
    for method in (one, two):
        within, free = _within(method)
        variances.append(within)
        weights.append(1.0 - float(np.mean([1.0 / len(rows) for rows in method])))
        degrees.append(free)
    return _agreement(
        Design.UNCHANGING, len(one), sum(map(len, one)), float(apart.mean()),
        float(apart.std(ddof=1) / np.sqrt(len(apart))), (variances, weights, degrees),
        _trend(apart, means.sum(axis=1)),
    )  # fmt: skip


def _of_single_pairs(apart: Floats, trend: Trend | None) -> Agreement:
    count = len(apart)
    _enough(count)
    bias, sd = float(apart.mean()), float(apart.std(ddof=1))
    t = float(stats.t.ppf((1.0 + LEVEL) / 2.0, count - 1))
    of_bias, of_limit = t * sd / np.sqrt(count), t * sd * np.sqrt(3.0 / count)
    low, high = bias - REACH * sd, bias + REACH * sd
    return Agreement(
        design=Design.SINGLE,
        subjects=count,
        pairs=count,
        bias=Interval(bias, float(bias - of_bias), float(bias + of_bias)),
        sd=sd,
        lower=Interval(low, float(low - of_limit), float(low + of_limit)),
        upper=Interval(high, float(high - of_limit), float(high + of_limit)),
        trend=trend,
    )


def _of_changing(apart: Sequence[Floats], trend: Trend | None) -> Agreement:
    """Return agreement by the variances within and between subjects of the differences."""
    _enough(len(apart))
    means = np.array([rows.mean() for rows in apart])
    within, free = _within(apart)
    # The variance of a single difference is that of subjects' means, each freed of the share
    # of the variance within that it holds, and the variance within.
    share = float(np.mean([1.0 / len(rows) for rows in apart]))
    parts = ([float(means.var(ddof=1)), within], [1.0, 1.0 - share], [len(means) - 1, free])
    error = float(means.std(ddof=1) / np.sqrt(len(means)))
    return _agreement(
        Design.CHANGING, len(apart), sum(map(len, apart)), float(means.mean()), error, parts, trend
    )


def _agreement(
    design: Design,
    subjects: int,
    pairs: int,
    bias: float,
    error: float,
    parts: tuple[list[float], list[float], list[int]],
    trend: Trend | None,
) -> Agreement:
    """Return limits from a variance that is a weighted sum of estimates.

    Args:
        design: What was measured.
        subjects: How many.
        pairs: How many differences.
        bias: Mean difference.
        error: Its standard error.
        parts: Variances, their weights and their degrees of freedom.
        trend: See `Agreement`.
    """
    variances, weights, degrees = (np.asarray(part, dtype=np.float64) for part in parts)
    total = float(np.sum(weights * variances))
    tail = (1.0 - LEVEL) / 2.0
    least = variances * degrees / stats.chi2.ppf(1.0 - tail, degrees)
    most = variances * degrees / stats.chi2.ppf(tail, degrees)
    low = max(0.0, total - float(np.sqrt(np.sum((weights * (variances - least)) ** 2))))
    high = total + float(np.sqrt(np.sum((weights * (most - variances)) ** 2)))
    half = float(stats.t.ppf(1.0 - tail, subjects - 1)) * error
    sd = np.sqrt(total)
    inward = float(np.hypot(half, REACH * (sd - np.sqrt(low))))
    outward = float(np.hypot(half, REACH * (np.sqrt(high) - sd)))
    lower, upper = float(bias - REACH * sd), float(bias + REACH * sd)
    return Agreement(
        design=design,
        subjects=subjects,
        pairs=pairs,
        bias=Interval(bias, bias - half, bias + half),
        sd=float(sd),
        lower=Interval(lower, lower - outward, lower + inward),
        upper=Interval(upper, upper - inward, upper + outward),
        trend=trend,
    )


def _within(subjects: Sequence[Floats]) -> tuple[float, int]:
    """Return the pooled variance within subjects, and its degrees of freedom."""
    free = sum(len(rows) - 1 for rows in subjects)
    if not free:
        raise ValueError("nobody was measured twice")
    scatter = sum(float(np.sum((rows - rows.mean()) ** 2)) for rows in subjects)
    return scatter / free, free


def _trend(apart: Floats, sums: Floats) -> Trend | None:
    """Return the trend of differences with the mean of both, sums being twice that mean.

    By least squares (Bland & Altman 1999, section 3.2); subjects count once each, so that
    several pairs of one do not pass for independent.
    """
    if len(apart) < 3 or not np.ptp(sums) > 0.0:
        return None
    found = stats.linregress(sums / 2.0, apart)
    half = float(stats.t.ppf((1.0 + LEVEL) / 2.0, len(apart) - 2) * found.stderr)
    slope = float(found.slope)
    return Trend(Interval(slope, slope - half, slope + half), float(found.pvalue))


def _enough(subjects: int) -> None:
    if subjects < 3:
        raise ValueError(f"too few for limits of agreement ({subjects}): at least 3 are needed")
