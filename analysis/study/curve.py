"""A learning curve fitted to one person's practice, its intervals with how much days differ.

The model: value = plateau + rest · exp(−(n − 1) / pace) + session + repetition, by generalised
least squares with the spread of days as the class has it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.comparison.effect_sizes import Interval
from analysis.study.course import ROUNDED, Course, falls, paces
from analysis.study.days import LEVEL, Days, Sessions

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Curve:
    """A fitted learning curve.

    Attributes:
        change: From the first repetition to the last, by the curve.
        plateau: Where practice leads to; None if that is not reached, so not known.
        gain: From the first repetition to the plateau; None likewise.
        pace: Repetitions in which 63 % of the way is gone; None likewise.
        one_day: Everything was on one day: the intervals hold for that day alone.
        at: Shape (k,), repetitions practised.
        value: Shape (k,), of the curve there.
        low: Shape (k,), lower end of its 95 % interval (to first order); empty if how much days
            differ is not known.
        high: Shape (k,), upper end; empty likewise.
    """

    change: Interval | None
    plateau: Interval | None
    gain: Interval | None
    pace: Interval | None
    one_day: bool
    at: Floats
    value: Floats
    low: Floats
    high: Floats

    @property
    def falling(self) -> bool:
        """Whether it leads down."""
        return bool(self.value[-1] < self.value[0])


@dataclass(frozen=True, slots=True)
class Practice:
    """The practice of one person.

    Attributes:
        at: Shape (n,), repetitions practised.
        session: Shape (n,).
        values: Shape (n,).
        course: Whether something changes; None if there is too little to look at.
        sessions: What it says of days; None likewise.
    """

    at: Floats
    session: Whole
    values: Floats
    course: Course | None
    sessions: Sessions | None


def shape_of(at: Floats, pace: float, rest: float = 1.0) -> Floats:
    """Return the slopes of the model by its parameters, shape (n, 3)."""
    fall = falls(at, np.array([pace]))[:, 0]
    return np.stack([np.ones_like(at), fall, rest * fall * (at - 1.0) / pace**2], axis=1)


def _whitener(session: Whole, days: Days) -> Floats:
    """Return what makes values (n,) of days and repetitions independent, alike, shape (n, n)."""
    ratio = days.session / days.repetition if days.repetition > 0.0 else 0.0
    same = session[:, np.newaxis] == session
    count = same.sum(axis=1)
    share = 1.0 - 1.0 / np.sqrt(1.0 + count * ratio)
    return np.asarray(np.eye(len(session)) - same * (share / count)[:, np.newaxis])


def fitted(own: Practice, days: Days) -> Curve:
    """Return the curve of a course that is told, with what days leave unsure."""
    one_day = len(np.unique(own.session)) == 1
    if one_day:  # its days fall out of everything but the plateau, which is of that day then
        days = Days(0.0, 0.0, 0, days.repetition, days.repetition_freedom)
    white = _whitener(own.session, days)
    pace, rest, span = _best(own, white)
    # Weights of the values in each parameter, to first order; by them each has its interval.
    weights = np.linalg.pinv(white @ shape_of(own.at, pace, rest)) @ white
    grid = np.linspace(float(own.at.min()), float(own.at.max()), 60)
    level = np.linalg.lstsq(white @ shape_of(own.at, pace)[:, :2], white @ own.values, rcond=None)[
        0
    ]
    value = shape_of(grid, pace)[:, :2] @ level
    error, times = days.reach(shape_of(grid, pace, rest) @ weights, own.session)
    reach = error * times
    known = one_day or days.known
    reached = known and span.high <= float(own.at.max())

    def interval(row: Floats, estimate: float) -> Interval:
        u, t = days.reach(row[np.newaxis], own.session)
        half = float(u[0] * t[0])
        return Interval(estimate, estimate - half, estimate + half)

    ends = shape_of(grid[[0, -1]], pace, rest) @ weights
    return Curve(
        change=interval(ends[1] - ends[0], float(value[-1] - value[0])) if known else None,
        plateau=interval(weights[0], float(level[0])) if reached else None,
        gain=interval(-weights[1], -float(level[1])) if reached else None,
        pace=span if reached else None,
        one_day=one_day,
        at=grid,
        value=value,
        low=value - reach if known else np.empty(0),
        high=value + reach if known else np.empty(0),
    )


def _best(own: Practice, white: Floats) -> tuple[float, float, Interval]:
    """Return the best pace, the rest with it, and the paces that fit hardly worse (95 %)."""
    tried = paces(own.at, 400)
    y, flat = white @ own.values, white @ np.ones(len(own.values))
    shapes = white @ falls(own.at, tried)
    along = flat / np.linalg.norm(flat)
    y, shapes = y - along * (along @ y), shapes - np.outer(along, along @ shapes)
    squares = np.sum(shapes**2, axis=0)
    rest = np.divide(y @ shapes, squares, out=np.zeros_like(squares), where=squares > ROUNDED)
    left = float(y @ y) - rest**2 * squares
    best = int(np.argmin(left))
    freedom = len(y) - 3
    allowed = max(0.0, left[best]) * (1.0 + float(stats.f.ppf(LEVEL, 1, freedom)) / freedom)
    good = np.flatnonzero(left <= allowed + 1e-12 * float(y @ y))
    low, high = good[0], good[-1]
    top = np.inf if high == len(tried) - 1 else float(tried[high])
    pace = float(tried[best])
    return pace, float(rest[best]), Interval(pace, float(tried[low]), top)
