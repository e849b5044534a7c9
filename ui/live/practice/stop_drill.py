"""The stop drill: at a moment nobody can foresee the movement is called uncomfortable.

The trainee must ease off at once. Armed, a drill draws from its seed one of the next repetitions
and an elevation, and calls when the arm passes that on its way up. What is measured is what
`analysis.stop_drill` finds in the recording.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np

from analysis.series import ResolvedSeries, joined
from analysis.stop_drill import ANSWER_S, BEFORE_S, STOP_EVENT, measure_stop
from analysis.trial import StopDrill
from ui.live.moment import Moment
from ui.live.phases import MovementPhase, PhaseFollower
from ui.practised import drill_words

CALL = "STOP · it has become uncomfortable · ease off"
LOWEST_DEG, HIGHEST_DEG = 30.0, 90.0
"""Between these the arm is called. Our choice: the hand is at work, and most arms get there."""
WITHIN = 3
"""One of so many repetitions is called."""
SETTLE_S = 0.3
"""The answer is measured so long after the hand is off: the filters must have seen it."""
KEPT_S = 1.0
AWAY = (MovementPhase.RAISE, MovementPhase.LOWER)

Call = Callable[[str, str], float]


class DrillState(Enum):
    """Where a drill stands; the text is for the instructor's screen."""

    OFF = "no stop drill"
    ARMED = "a stop will be called"
    CALLED = "stop called"
    DONE = "stop drill done"


@dataclass(frozen=True, slots=True)
class DrillLook:
    """One look at a drill.

    Attributes:
        state: Where it stands.
        call: What is called out, large; empty while nothing is.
        result: How the last call was answered, None before.
        words: That in lines for people: label and number, or the reason why there is none.
        letting_go: A stop was called and the arm is not home yet: a hand that is off is right.
    """

    state: DrillState
    call: str
    result: StopDrill | None
    words: tuple[str, ...]
    letting_go: bool = False


class StopDrillModel:
    """Calls and measures; must see every moment.

    Args:
        seed: Decides when it calls.
        call: Told kind and text of the call, calls it out to whoever can hear, notes it in the
            recording, and returns when it was on the series.
    """

    def __init__(self, *, seed: int, call: Call) -> None:
        self._chance = np.random.default_rng(seed)
        self._call = call
        self._follower = PhaseFollower()
        self._state = DrillState.OFF
        self._waits = 0
        self._at_deg = 0.0
        self._called_s = np.nan
        self._off_s = np.nan
        self._rows: deque[ResolvedSeries] = deque()
        self._result: StopDrill | None = None
        self._letting_go = False

    @property
    def state(self) -> DrillState:
        """Where it stands."""
        return self._state

    def arm(self) -> None:
        """Let one of the next repetitions be called."""
        self._waits = int(self._chance.integers(1, WITHIN + 1))
        self._at_deg = float(self._chance.uniform(LOWEST_DEG, HIGHEST_DEG))
        self._state, self._result = DrillState.ARMED, None

    def give_up(self) -> None:
        """Call nothing."""
        self._state = DrillState.OFF

    def look(self, moment: Moment) -> DrillLook:
        """Call if it is time, measure if there is an answer, and return how it stands."""
        if moment.new is not None and len(moment.new):
            self._see(moment.new)
        calling = self._state is DrillState.CALLED
        return DrillLook(
            self._state,
            CALL if calling else "",
            self._result,
            drill_words(self._result),
            letting_go=self._letting_go,
        )

    def _see(self, new: ResolvedSeries) -> None:
        if self._rows and new.time_s[0] < self._rows[-1].time_s[-1]:
            self._rows.clear()  # the rig began anew: a call is lost with it
            if self._state is DrillState.CALLED:
                self.give_up()
        was_away = self._follower.phase in AWAY
        self._follower.feed(new)
        self._rows.append(new)
        self._letting_go &= self._follower.phase in AWAY
        if self._state is DrillState.ARMED:
            self._forget_what_is_old()
            self._waits -= self._follower.phase in AWAY and not was_away
            if self._waits <= 0 and self._is_time(new):
                self._called_s, self._off_s = self._call(STOP_EVENT, CALL), np.nan
                self._state, self._letting_go = DrillState.CALLED, True
        if self._state is DrillState.CALLED:
            self._listen(new)

    def _is_time(self, new: ResolvedSeries) -> bool:
        rising = self._follower.phase is MovementPhase.RAISE and bool(new.contact[-1])
        return rising and float(np.rad2deg(new.elevation_rad[-1])) >= self._at_deg

    def _listen(self, new: ResolvedSeries) -> None:
        """Measure once the hand is off, or as soon as no answer can come any more."""
        now_s = float(new.time_s[-1])
        if np.isnan(self._off_s) and now_s > self._called_s and not new.contact[-1]:
            self._off_s = now_s
        answered = now_s >= self._off_s + SETTLE_S
        if answered or now_s > self._called_s + ANSWER_S + SETTLE_S:
            series = joined(list(self._rows))
            if series is not None:
                self._result = measure_stop(series, self._called_s)
            self._state = DrillState.DONE

    def _forget_what_is_old(self) -> None:
        oldest_s = float(self._rows[-1].time_s[-1]) - KEPT_S - BEFORE_S
        while self._rows[0].time_s[-1] < oldest_s:
            self._rows.popleft()
