"""The same place of the movement in two repetitions, whatever their pace."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.series import ResolvedSeries
from analysis.trial import Repetition, Span, Trial

Floats = NDArray[np.float64]


def same_place_s(
    time_s: float, trial: Trial, repetition: Repetition, other: Trial, its: Repetition
) -> float:
    """Return when *its* repetition was where *repetition* is at *time_s*.

    On the way up and down that is where the arm was as high; at the top as far through it; before
    the raise as long before it, and after the arm is down as long after.

    Args:
        time_s: On the series of *trial*.
        trial: Has *repetition*.
        repetition: Of *trial*.
        other: Has *its*.
        its: Of *other*.

    Returns:
        Seconds on the series of *other*, within its length.
    """
    mine, theirs = repetition.spans, its.spans
    at = time_s - float(trial.series.time_s[0])
    row = int(np.clip(np.rint(at * trial.series.fs_hz), 0, len(trial.series) - 1))
    if row < mine.raising.start:
        found = theirs.raising.start - _rows(mine.raising.start - row, trial, other)
    elif row < mine.raising.stop:
        height = trial.series.elevation_rad[row]
        found = _first_as_high(other.series, theirs.raising, height)
    elif row < mine.top.stop:
        found = _as_far_through(row, mine.top, theirs.top)
    elif row < mine.lowering.stop:
        height = trial.series.elevation_rad[row]
        found = _first_as_low(other.series, theirs.lowering, height)
    else:
        found = theirs.lowering.stop + _rows(row - mine.lowering.stop, trial, other)
    return float(other.series.time_s[int(np.clip(found, 0, len(other.series) - 1))])


def _rows(rows: int, trial: Trial, other: Trial) -> int:
    return round(rows / trial.series.fs_hz * other.series.fs_hz)


def _first_as_high(series: ResolvedSeries, span: Span, height_rad: float) -> int:
    highest = np.fmax.accumulate(series.elevation_rad[span.slice])
    return span.start + _reached(highest, height_rad, len(span))


def _first_as_low(series: ResolvedSeries, span: Span, height_rad: float) -> int:
    lowest = np.fmin.accumulate(series.elevation_rad[span.slice])
    return span.start + _reached(-lowest, -height_rad, len(span))


def _reached(rising: Floats, value: float, length: int) -> int:
    """Return the first place of a rising array that is as much as *value*, at most its last."""
    if np.isnan(value):
        return 0
    return min(int(np.searchsorted(rising, value)), max(0, length - 1))


def _as_far_through(row: int, mine: Span, theirs: Span) -> int:
    share = (row - mine.start) / max(1, len(mine))
    return theirs.start + int(share * len(theirs))
