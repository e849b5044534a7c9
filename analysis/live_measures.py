"""Measures of each repetition as soon as it is over, from a series that is still growing.

The same cutting and the same measures as offline, on the rows of the causal chain: what a
`MeasuredRepetition` holds is the record that `analyse` gives for the recording, within the
delay and tolerance stated for the chain. Only what the future decides is missing: a hand that is
still on when the repetition is told has no elevation of release.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.measures import measure_repetitions
from analysis.repetition_tracker import FinishedRepetition, MovementPhase, RepetitionTracker
from analysis.series import ResolvedSeries, unsettled_where
from analysis.settings import AnalysisSettings
from analysis.target import Target
from analysis.trial import Repetition


@dataclass(frozen=True, slots=True)
class MeasuredRepetition:
    """A repetition that is over, measured.

    Attributes:
        repetition: The record that offline analysis gives, numbered from 1 in the order told;
            its spans are in rows of *series*.
        series: Its rows, set-up included.
    """

    repetition: Repetition
    series: ResolvedSeries


class LiveMeasures:
    """Measures repetitions as they end.

    Args:
        target: What to measure against.
        settings: Parameters; None takes the defaults.
        fs_hz: Rate of the series.
        side: ``right`` or ``left``, for the table only.

    Attributes:
        finished: How many complete repetitions have been told.
    """

    def __init__(
        self,
        target: Target,
        settings: AnalysisSettings | None = None,
        *,
        fs_hz: float,
        side: str,
    ) -> None:
        self._target = target
        self._settings = settings or AnalysisSettings()
        self._side = side
        self._tracker = RepetitionTracker(self._settings.repetitions, fs_hz=fs_hz)
        self._told = 0
        self.finished = 0

    @property
    def phase(self) -> MovementPhase:
        """What the arm does at the last row."""
        return self._tracker.phase

    def retarget(self, target: Target) -> None:
        """Measure what ends from now on against another target.

        The off-axis angles of the rows are those of the target that the chain resolved them
        against: change that one too.
        """
        self._target = target

    def feed(self, series: ResolvedSeries) -> tuple[MeasuredRepetition, ...]:
        """Take the next rows, however cut; return what they brought to an end.

        A repetition is told within about a second of the arm being home and still.
        """
        return tuple(self._measured(one) for one in self._tracker.feed(series))

    def finish(self) -> tuple[MeasuredRepetition, ...]:
        """End the series: return what was still open, unfinished ones included."""
        return tuple(self._measured(one) for one in self._tracker.finish())

    def _measured(self, done: FinishedRepetition) -> MeasuredRepetition:
        one = _spoilt_by_what_came_behind(done)
        (found,) = measure_repetitions(
            one.series, [one.spans], self._target, self._settings.measures, side=self._side
        )
        self._told += 1
        self.finished += one.spans.complete
        return MeasuredRepetition(replace(found, number=self._told), one.series)


def _spoilt_by_what_came_behind(one: FinishedRepetition) -> FinishedRepetition:
    """Return a repetition that is unsettled as a whole if the arm rested elsewhere behind it.

    Then the rig was moved before, and live nobody knew.
    """
    flags = one.series.unsettled
    if flags is None or not flags[one.spans.movement.start :].any():
        return one
    rows = np.arange(len(flags)) >= one.spans.movement.start
    return replace(one, series=unsettled_where(one.series, flags | rows))
