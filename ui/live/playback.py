"""Looks at a recording as at a rig: any moment of it, forward at any pace, or by a jump."""

from __future__ import annotations

import math

import numpy as np

from acquisition.health import Health, LinkState
from acquisition.recording.model import LinkCounts
from analysis.series import ResolvedSeries, rows_of
from analysis.trial import Repetition, Trial
from ui.live.feed import FeedState
from ui.live.moment import Moment, moment_of

STEP_S = 0.2
"""After a jump the way to the new place is shown to the models in steps of this: they follow the
movement, and would not know whether the arm rises or sinks."""
RUN_UP_S = 3.0
"""Where no repetition is, so much of the way is shown: longer than the trail on the map."""


class Playback:
    """Stands at a place of a trial and gives what there is to see there.

    Args:
        trial: A recording, analysed.

    Attributes:
        trial: The same.
        position_s: Where it stands, on the time axis of the series.
    """

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.position_s = float(trial.series.time_s[0])
        self._seen = 0
        self._recent: tuple[ResolvedSeries, ...] = ()
        self._anew = True
        self._feed = _feed_state(trial)

    @property
    def end_s(self) -> float:
        """The last moment there is."""
        return float(self.trial.series.time_s[-1])

    @property
    def at_end(self) -> bool:
        """Nothing is left to play."""
        return self.position_s >= self.end_s

    def jump(self, time_s: float) -> None:
        """Stand at another time, the nearest there is."""
        self.position_s = min(max(time_s, float(self.trial.series.time_s[0])), self.end_s)
        self._anew = True

    def advance(self, seconds: float) -> None:
        """Play on for so long."""
        self.position_s = min(self.position_s + seconds, self.end_s)

    def repetition(self) -> Repetition | None:
        """Return the repetition that it stands in or last was in, the first before that."""
        row = self._row(self.position_s)
        begun = [one for one in self.trial.repetitions if one.spans.setup.start <= row]
        return begun[-1] if begun else next(iter(self.trial.repetitions), None)

    def take(self) -> tuple[bool, list[Moment]]:
        """Return whether models must begin anew, and what they must see, oldest first.

        At least one moment comes with a beginning; none where nothing has changed.
        """
        anew, self._anew = self._anew, False
        row = self._row(self.position_s) + 1
        if anew:
            self._recent, self._seen = (), self._run_up(row)
        step = max(1, int(STEP_S * self.trial.series.fs_hz))
        stops = [*range(self._seen + step, row, step), row] if row > self._seen else []
        return anew, [self._moment(stop) for stop in stops]

    def _moment(self, stop: int) -> Moment:
        new = rows_of(self.trial.series, slice(self._seen, stop))
        self._seen = stop
        oldest_s = float(new.time_s[-1]) - RUN_UP_S
        kept = (one for one in self._recent if one.time_s[-1] > oldest_s)
        self._recent = (*kept, new)
        return moment_of(self.trial.target, new, self._recent, self._feed)

    def _run_up(self, row: int) -> int:
        """Return from where on the way to *row* must be seen."""
        for repetition in self.trial.repetitions:
            spans = repetition.spans
            if spans.setup.start < row <= max(spans.release.stop, spans.lowering.stop):
                return spans.setup.start
        return max(0, row - int(RUN_UP_S * self.trial.series.fs_hz))

    def _row(self, time_s: float) -> int:
        at = np.searchsorted(self.trial.series.time_s, time_s, side="right") - 1
        return int(np.clip(at, 0, len(self.trial.series) - 1))


def _feed_state(trial: Trial) -> FeedState:
    """Return what a feed would say: all is there, nothing is late."""
    name = str(trial.recording["file"] or trial.recording["uuid"])
    health = Health(LinkState.STREAMING, name, 0.0, LinkCounts(), {}, 0, "")
    known = bool(np.isfinite(trial.series.force_n).any())
    return FeedState(health=health, age_s=0.0, zeroed=known, heading_age_s=math.inf)
