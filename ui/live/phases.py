"""Which phase of the movement it is right now, and how many repetitions are done."""

from __future__ import annotations

from analysis.repetition_settings import RepetitionSettings
from analysis.repetition_tracker import MovementPhase, RepetitionTracker
from analysis.series import ResolvedSeries

__all__ = ["MovementPhase", "PhaseFollower"]


class PhaseFollower:
    """Follows arm and hand with the cutting of the offline analysis, causally.

    A repetition counts once nothing can change it any more: up to a second behind its end.

    Attributes:
        repetitions: Excursions from home past the minimum amplitude and back, seen whole.
    """

    def __init__(self, settings: RepetitionSettings | None = None) -> None:
        self._settings = settings
        self._tracker: RepetitionTracker | None = None
        self.repetitions = 0

    @property
    def phase(self) -> MovementPhase:
        """Now."""
        return self._tracker.phase if self._tracker else MovementPhase.HOME

    def feed(self, series: ResolvedSeries) -> None:
        """Take new samples; an arm unknown for too long makes no repetition."""
        if self._tracker is None:
            self._tracker = RepetitionTracker(self._settings, fs_hz=series.fs_hz)
        self.repetitions += sum(one.spans.complete for one in self._tracker.feed(series))
