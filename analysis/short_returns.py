"""Repetitions that are more than one lift: the arm turned back near home without coming home."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.repetition_settings import RepetitionSettings
from analysis.rests import NEAR_HOME_RAD
from analysis.runs import runs_of, with_hysteresis
from analysis.series import ResolvedSeries
from analysis.trial import RepetitionSpans


@dataclass(frozen=True, slots=True)
class ShortReturn:
    """A way down that ended near home, but not there, between two lifts of one repetition.

    Attributes:
        repetition: Its number, from 1.
        at: The sample at which the arm was lowest.
        lowest_deg: How far it came down.
    """

    repetition: int
    at: int
    lowest_deg: float


def short_returns(
    series: ResolvedSeries, spans: Iterable[RepetitionSpans], settings: RepetitionSettings
) -> tuple[ShortReturn, ...]:
    """Return where the arm turned back near home within a repetition.

    Near home is as far as a rest may lie from it; both lifts pass the minimum amplitude. A second
    attempt from higher up is part of one lift.

    Args:
        series: The resolved push.
        spans: Where the repetitions lie.
        settings: Say how far a lift goes.
    """
    on_deg = settings.minimum_amplitude_deg
    off_deg = min(float(np.rad2deg(NEAR_HOME_RAD)), on_deg)
    found = []
    for number, one in enumerate(spans, 1):
        elevation_deg = np.rad2deg(series.elevation_rad[one.movement.slice])
        lifts = list(runs_of(with_hysteresis(elevation_deg, on=on_deg, off=off_deg)))
        for (_, down), (up, _) in pairwise(lifts):
            lowest = down + int(np.nanargmin(elevation_deg[down:up]))
            at = one.movement.start + lowest
            found.append(ShortReturn(number, at, float(elevation_deg[lowest])))
    return tuple(found)
