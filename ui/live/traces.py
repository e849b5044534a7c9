"""The last seconds, reduced to what a screen can show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.series import ResolvedSeries
from ui.live.moment import RECENT_S, Moment

Floats = NDArray[np.float64]

COLUMNS = 400
STEP_S = RECENT_S / COLUMNS
COLUMN_S: Floats = np.arange(0.5 - COLUMNS, 0.5) * STEP_S
"""Middles of the columns, seconds before the newest."""


@dataclass(frozen=True, slots=True)
class TracesLook:
    """Least and greatest in each column of time; NaN where nothing is known.

    Attributes:
        time_s: Shape (COLUMNS,), seconds before now, negative.
        elevation_deg: Shape (COLUMNS, 2).
        force_n: Shape (COLUMNS, 2).
        superior_deg: Shape (COLUMNS, 2), only where there is a direction.
    """

    time_s: Floats
    elevation_deg: Floats
    force_n: Floats
    superior_deg: Floats


class TracesModel:
    """Keeps the columns of the last seconds; must see every moment.

    Each row is looked at once, when it is new. Columns lie fast in time, so that the picture
    moves by whole columns and does not shimmer.
    """

    def __init__(self) -> None:
        self._columns = _nothing()
        self._newest = 0

    def look(self, moment: Moment) -> TracesLook:
        """Return the traces of now."""
        if not moment.recent:
            self._columns = _nothing()
        elif moment.new is not None and len(moment.new):
            if len(moment.recent) == 1:
                self._columns = _nothing()  # it began anew
            self._take(moment.new)
        # In a silence the picture goes on to the left: it is the past.
        since_s = moment.feed.age_s if moment.feed.silent else 0.0
        return TracesLook(COLUMN_S - since_s, *(column.copy() for column in self._columns))

    def _take(self, new: ResolvedSeries) -> None:
        column = np.floor(new.time_s / STEP_S).astype(np.int64)
        self._scroll_to(int(column[-1]))
        place = column - self._newest + COLUMNS - 1
        starts = np.flatnonzero(np.diff(place, prepend=-1) > 0)
        starts = starts[place[starts] >= 0]
        values = np.stack(
            [
                np.rad2deg(new.elevation_rad),
                new.magnitude_n,
                np.where(new.directed, np.rad2deg(new.superior_angle_rad), np.nan),
            ]
        )
        for reduce, side in ((np.fmin, 0), (np.fmax, 1)):
            found = reduce.reduceat(values, starts, axis=1)
            there = self._columns[:, place[starts], side]
            self._columns[:, place[starts], side] = reduce(there, found)

    def _scroll_to(self, newest: int) -> None:
        by = min(newest - self._newest, COLUMNS)
        self._newest = newest
        if by < 0:
            self._columns = _nothing()
        elif by:
            self._columns = np.concatenate([self._columns[:, by:], _nothing()[:, :by]], axis=1)


def _nothing() -> Floats:
    return np.full((3, COLUMNS, 2), np.nan)
