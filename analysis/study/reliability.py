"""Intraclass correlation in all six forms, standard error of measurement, detectable change.

Own formulas, after Shrout & Fleiss (1979): the maintained library rounds its intervals to two
digits and has no standard error of measurement; a test holds ours against it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]

LEVEL = 0.95
MODELS: Mapping[int, str] = MappingProxyType(
    {
        1: "one-way random: every person has sessions of their own",
        2: "two-way random, absolute agreement: sessions count as drawn from many",
        3: "two-way mixed, consistency: these sessions and no others, their means apart",
    }
)
"""What each number of Shrout & Fleiss means, with sessions as the columns."""


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """Mean squares of a complete table of n rows (people) and k columns (sessions).

    Attributes:
        rows: Between people.
        columns: Between sessions.
        error: What is left.
        within: Within people, columns and error together.
        n: People.
        k: Sessions.
    """

    rows: float
    columns: float
    error: float
    within: float
    n: int
    k: int


@dataclass(frozen=True, slots=True)
class Icc:
    """One form of the intraclass correlation.

    Attributes:
        form: ``ICC(2,1)`` after Shrout & Fleiss.
        model: In words.
        unit: ``single`` session, or the ``mean`` of all.
        value: The estimate; may be negative.
        low: Lower limit of the 95 % interval.
        high: Upper limit.
    """

    form: str
    model: str
    unit: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Measurement:
    """How exact one value is, in the unit of the measure.

    Attributes:
        kind: ``consistency`` (√MSE) or ``agreement`` (√(σ²_session + MSE)); not SD·√(1 − ICC),
            which gives other numbers.
        sem: Standard error of measurement of one session.
        mdc95: Smallest change between two sessions of one person that is beyond it, 95 %.
    """

    kind: str
    sem: float
    mdc95: float


def mean_squares(table: Floats) -> MeanSquares:
    """Return the mean squares of a two-way table without replication.

    Args:
        table: Shape (n, k), complete: people by sessions.

    Raises:
        ValueError: It has gaps, or fewer than two rows or columns.
    """
    n, k = table.shape
    if not np.isfinite(table).all():
        raise ValueError("a session of somebody has no value")
    if n < 2 or k < 2:
        who = "1 person has" if n == 1 else f"{n or 'no'} people have"
        raise ValueError(f"at least two people must have at least two sessions each; {who} so many")
    centre = table.mean()
    rows = k * float(np.sum((table.mean(axis=1) - centre) ** 2))
    columns = n * float(np.sum((table.mean(axis=0) - centre) ** 2))
    total = float(np.sum((table - centre) ** 2))
    error = max(0.0, total - rows - columns)
    return MeanSquares(
        rows=rows / (n - 1),
        columns=columns / (k - 1),
        error=error / ((n - 1) * (k - 1)),
        within=(columns + error) / (n * (k - 1)),
        n=n,
        k=k,
    )


def intraclass(table: Floats, level: float = LEVEL) -> tuple[Icc, ...]:
    """Return the six forms with their intervals, single ones first.

    Args:
        table: Shape (n, k), complete: people by sessions.
        level: Of the intervals.

    Raises:
        ValueError: As `mean_squares`, or all values are equal.

    Source: Shrout & Fleiss 1979, Psychological Bulletin 86:420; the interval of form 2 after
    their formula with Satterthwaite's degrees of freedom.
    """
    ms = mean_squares(table)
    if ms.rows + ms.within == 0.0:
        raise ValueError("all values are equal")
    singles = (_one_way(ms, level), _absolute(ms, level), _consistent(ms, level))
    found = [
        Icc(f"ICC({model},1)", MODELS[model], "single", *values)
        for model, values in enumerate(singles, 1)
    ]
    found += [
        Icc(f"ICC({model},{ms.k})", MODELS[model], "mean", *(_of_mean(one, ms.k) for one in values))
        for model, values in enumerate(singles, 1)
    ]
    return tuple(found)


def measurement(table: Floats) -> tuple[Measurement, Measurement]:
    """Return the error of measurement, between sessions of one person, both kinds.

    Args:
        table: Shape (n, k), complete: people by sessions.

    Source: Weir 2005, J Strength Cond Res 19:231.
    """
    ms = mean_squares(table)
    session = max(0.0, (ms.columns - ms.error) / ms.n)
    return (
        _measurement("consistency", ms.error),
        _measurement("agreement", session + ms.error),
    )


def _measurement(kind: str, variance: float) -> Measurement:
    sem = float(np.sqrt(variance))
    return Measurement(kind, sem, 1.96 * float(np.sqrt(2.0)) * sem)


def _one_way(ms: MeanSquares, level: float) -> tuple[float, float, float]:
    df = ms.n - 1, ms.n * (ms.k - 1)
    return _from_f(_ratio(ms.rows, ms.within), df, ms.k, level)


def _consistent(ms: MeanSquares, level: float) -> tuple[float, float, float]:
    df = ms.n - 1, (ms.n - 1) * (ms.k - 1)
    return _from_f(_ratio(ms.rows, ms.error), df, ms.k, level)


def _absolute(ms: MeanSquares, level: float) -> tuple[float, float, float]:
    n, k = ms.n, ms.k
    value = (ms.rows - ms.error) / (ms.rows + (k - 1) * ms.error + k * (ms.columns - ms.error) / n)
    share = _ratio(ms.columns, ms.error)
    a, b = k * value * share, n * (1.0 + (k - 1) * value) - k * value
    if not np.isfinite(share):
        df = k - 1.0
    else:
        df = (k - 1) * (n - 1) * (a + b) ** 2 / ((n - 1) * a**2 + b**2)
    tail = (1.0 + level) / 2.0
    upper, lower = stats.f.ppf(tail, n - 1, df), stats.f.ppf(tail, df, n - 1)
    noise = k * ms.columns + (k * n - k - n) * ms.error
    low = n * (ms.rows - upper * ms.error) / (upper * noise + n * ms.rows)
    high = n * (lower * ms.rows - ms.error) / (noise + n * lower * ms.rows)
    return value, float(low), float(high)


def _from_f(f: float, df: tuple[int, int], k: int, level: float) -> tuple[float, float, float]:
    tail = (1.0 + level) / 2.0
    low = f / stats.f.ppf(tail, *df)
    high = f * stats.f.ppf(tail, df[1], df[0])
    return _of_f(f, k), _of_f(float(low), k), _of_f(float(high), k)


def _of_f(f: float, k: int) -> float:
    return 1.0 if np.isinf(f) else (f - 1.0) / (f + k - 1.0)


def _of_mean(single: float, k: int) -> float:
    """Return the reliability of the mean of *k* from that of one (Spearman-Brown)."""
    return k * single / (1.0 + (k - 1) * single)


def _ratio(one: float, other: float) -> float:
    return one / other if other > 0.0 else np.inf
