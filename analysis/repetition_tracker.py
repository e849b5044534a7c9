"""The cutting into repetitions as the series comes, block by block.

The same code as `find_repetitions` on the same rows, so that the boundaries are the same; it is
only told later: a repetition is given out once the arm has been home and still for so long
that nothing can change it any more, which on an arm that comes to rest is the longer of
`RepetitionSettings.refractory_s` and `onset_window_most_s`. Cutting into blocks anywhere changes
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from analysis.excursions import Excursion, ExcursionFinder
from analysis.repetition_settings import RepetitionSettings
from analysis.repetitions import Movement
from analysis.series import ResolvedSeries, gathered, rows_of
from analysis.trial import RepetitionSpans

Floats = NDArray[np.float64]

LOOK_BACK_S = 60.0
"""So much before the arm leaves home is kept: a set-up that lasts longer is cut off there."""


class MovementPhase(Enum):
    """What the arm does; the text is for people. The top is known only once it is over."""

    HOME = "at home"
    SET_UP = "set-up"
    RAISE = "raise"
    LOWER = "lower"
    RELEASE = "release"


@dataclass(frozen=True, slots=True)
class FinishedRepetition:
    """A repetition that is over, with the rows it is measured on.

    Attributes:
        series: Its rows, some before it included.
        spans: Where it lies in them. Its release ends with the rows, if not before.
    """

    series: ResolvedSeries
    spans: RepetitionSpans


class RepetitionTracker:
    """Follows the repetitions of a series that is still growing.

    Args:
        settings: The thresholds; None takes the defaults.
        fs_hz: Rate of the series.
    """

    def __init__(self, settings: RepetitionSettings | None = None, *, fs_hz: float) -> None:
        self._settings = settings or RepetitionSettings()
        self._fs_hz = fs_hz
        self._reach = round(self._settings.onset_window_most_s * fs_hz)
        self._begin()

    def _begin(self) -> None:
        self._finder = ExcursionFinder(self._settings, fs_hz=self._fs_hz)
        self._way = _Way(self._settings)
        self._rows: list[ResolvedSeries] = []
        self._first = 0
        """Number of the first row kept."""
        self._waiting: list[Excursion] = []
        self._earliest = 0
        """Number of the row behind the last repetition."""
        self._hand_on_since: int | None = None

    @property
    def phase(self) -> MovementPhase:
        """What the arm does at the last row."""
        if self._finder.leave is not None:
            return MovementPhase.RAISE if self._way.raising else MovementPhase.LOWER
        if self._hand_on_since is None:
            return MovementPhase.HOME
        before = self._hand_on_since < self._finder.last_arrive
        return MovementPhase.RELEASE if before else MovementPhase.SET_UP

    def feed(self, series: ResolvedSeries) -> tuple[FinishedRepetition, ...]:
        """Take the next rows; return what they brought to an end.

        Rows that do not go on where the last ones ended, as after a long silence or a restart
        of the rig, end an open repetition unfinished and begin anew.
        """
        if not len(series):
            return ()
        found = self.finish() if self._interrupted(series) else ()
        begin = self._finder.count
        self._rows.append(series)
        elevation_deg = np.rad2deg(series.elevation_rad)
        self._waiting += self._finder.feed(elevation_deg)
        self._way.follow(elevation_deg, begin, self._finder.leave)
        self._follow_hand(series, begin)
        found += self._ready(at_end=False)
        self._let_go()
        return found

    def finish(self) -> tuple[FinishedRepetition, ...]:
        """End the series: return what was still open, and begin anew."""
        self._waiting += self._finder.give_up()
        found = self._ready(at_end=True)
        self._begin()
        return found

    def _interrupted(self, series: ResolvedSeries) -> bool:
        if not self._rows:
            return False
        step_s = series.time_s[0] - self._rows[-1].time_s[-1]
        return bool(abs(step_s * self._fs_hz - 1.0) > 0.5)

    def _follow_hand(self, series: ResolvedSeries, begin: int) -> None:
        off = np.flatnonzero(~series.contact)
        if not len(off):
            self._hand_on_since = begin if self._hand_on_since is None else self._hand_on_since
        elif series.contact[-1]:
            self._hand_on_since = begin + int(off[-1]) + 1
        else:
            self._hand_on_since = None

    def _ready(self, *, at_end: bool) -> tuple[FinishedRepetition, ...]:
        found: list[FinishedRepetition] = []
        while self._waiting:
            excursion = self._waiting[0]
            seen = self._seen(excursion, at_end=at_end)
            if seen is None:
                break
            del self._waiting[0]
            found.append(self._cut(excursion, seen))
        return tuple(found)

    def _seen(self, excursion: Excursion, *, at_end: bool) -> int | None:
        """Return behind which row nothing matters for its boundaries, None if more is needed."""
        if not excursion.finished:
            return excursion.settled + 1
        if at_end:
            return self._finder.count
        elevation_deg = np.rad2deg(np.concatenate([part.elevation_rad for part in self._rows]))
        movement = Movement(elevation_deg, (), self._fs_hz, self._settings)
        stop = movement.stop(_shifted(excursion, -self._first))
        # A speed is final once the rows behind it are there.
        if stop is None or self._first + stop.seen >= self._finder.count:
            return None
        return max(excursion.settled, self._first + stop.seen) + 1

    def _cut(self, excursion: Excursion, seen: int) -> FinishedRepetition:
        begin = self._needed_from(excursion.leave)
        rows = gathered(self._rows, self._finder.count - self._first)
        part = rows_of(rows, slice(begin - self._first, seen - self._first))
        movement = Movement.of(part, self._settings)
        spans = movement.cut(_shifted(excursion, -begin), max(0, self._earliest - begin))
        self._earliest = begin + spans.lowering.stop
        return FinishedRepetition(part, spans)

    def _needed_from(self, leave: int) -> int:
        """Return the first row that matters to an excursion that left home at *leave*."""
        look_back = round(LOOK_BACK_S * self._fs_hz)
        return max(0, self._earliest - self._reach, leave - look_back)

    def _let_go(self) -> None:
        undecided = min([self._finder.undecided_from, *(one.leave for one in self._waiting)])
        needed = self._needed_from(undecided)
        while self._rows and self._first + len(self._rows[0]) <= needed:
            self._first += len(self._rows.pop(0))


class _Way:
    """Whether the arm is on its way up or down, while it is away from home.

    A raise becomes a lower once the arm has come down from its highest by more than the top is
    wide, and a raise again once it has gone up from its lowest by the minimum amplitude.
    """

    def __init__(self, settings: RepetitionSettings) -> None:
        self._settings = settings
        self._leave: int | None = None
        self.raising = True
        self._extreme = np.nan

    def follow(self, elevation_deg: Floats, begin: int, leave: int | None) -> None:
        """Take the next elevations (n,), the first one being sample *begin*.

        Args:
            elevation_deg: NaN changes nothing.
            begin: Number of the first.
            leave: When the arm left home, None if it is there.
        """
        if leave is None:
            return
        if leave != self._leave:
            self._leave, self.raising, self._extreme = leave, True, np.nan
        values = elevation_deg[max(0, leave - begin) :]
        while len(values):
            values = values[self._until_turn(values) :]

    def _until_turn(self, values: Floats) -> int:
        """Go on until the arm turns; return how many of the values that took."""
        sign = 1.0 if self.raising else -1.0
        wide = self._settings.top_deg if self.raising else self._settings.minimum_amplitude_deg
        ahead = sign * np.fmax.accumulate(sign * np.append(self._extreme, values))[1:]
        with np.errstate(invalid="ignore"):
            turned = np.flatnonzero(sign * (ahead - values) > wide)
        if not len(turned):
            self._extreme = ahead[-1]
            return len(values)
        at = int(turned[0])
        self.raising, self._extreme = not self.raising, values[at]
        return at + 1


def _shifted(excursion: Excursion, by: int) -> Excursion:
    return replace(
        excursion,
        known_from=excursion.known_from + by,
        leave=excursion.leave + by,
        arrive=excursion.arrive + by,
        settled=excursion.settled + by,
    )
