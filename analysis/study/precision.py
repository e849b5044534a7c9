"""How many repetitions, or sessions, a wanted precision takes, from the variance components."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

from analysis.study.variance import Components

LEVEL = 0.95
MOST = 1000
"""More is no plan."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What a precision of one person's mean takes.

    Attributes:
        wanted: Half width of the 95 % interval of the mean, in the measure's unit.
        repetitions: In one session, for the person on that day; None if `MOST` are not enough.
        sessions: Of *each* repetitions, for the person on any day; None likewise, or if nobody
            had two sessions, so that days are not known.
        each: Repetitions in a session of that plan.
    """

    wanted: float
    repetitions: int | None
    sessions: int | None
    each: int


def half_width(variance: float, count: int) -> float:
    """Return the half width of the 95 % interval of a mean of *count*, its variance taken as known.

    The components are estimates, so this is a plan and not a promise.
    """
    return float(stats.norm.ppf((1.0 + LEVEL) / 2.0)) * math.sqrt(variance / count)


def plan(found: Components, wanted: float, *, each: int = 10) -> Plan:
    """Return how much must be done for a precision.

    Args:
        found: The components of the measure.
        wanted: Half width of the 95 % interval, above 0.
        each: Repetitions in a session.

    Raises:
        ValueError: *wanted* or *each* is not above 0.
    """
    if wanted <= 0.0 or each < 1:
        raise ValueError("the precision and the repetitions of a session must be above 0")
    rest = found.repetition.variance
    sessions = None
    if found.session is not None:
        sessions = _fewest(found.session.variance + rest / each, wanted)
    return Plan(wanted, _fewest(rest, wanted), sessions, each)


def _fewest(variance: float, wanted: float) -> int | None:
    needed = max(1, math.ceil(variance * (half_width(1.0, 1) / wanted) ** 2 - 1e-9))
    return needed if needed <= MOST else None
