"""One look at the rig: what every screen's model makes its picture of. No Qt here."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.reference.model import Reference
from analysis.series import ResolvedSeries
from analysis.target import Target
from ui.live.feed import FeedState, LiveFeed
from ui.live.push import Push, PushState, newest_of, push_now, push_state, target_now
from ui.live.zero_note import ZeroNote

if TYPE_CHECKING:
    from ui.live.corridor import Corridor, CorridorModel
    from ui.live.practice.checklist import Checklist
    from ui.live.practice.look import PracticeLook
    from ui.live.practice.run import PracticeRun
    from ui.live.practice.sound import Sound
    from ui.live.practice.stop_drill import DrillLook, StopDrillModel
    from ui.live.practice.ticking import TickingLook, TickingModel

RECENT_S = 20.0


@dataclass(frozen=True, slots=True)
class Moment:
    """What is known at one look.

    Attributes:
        target: What to show against.
        state: What can be said of the push.
        push: The push, as far as that goes.
        new: What came since the last look, None if nothing.
        recent: The last `RECENT_S` in blocks, oldest first; empty before the first.
        feed: Line, recording and zero.
        practice: How the plan stands that is being followed, None without one.
        corridor: The experts' band where the arm is, None without a reference or at rest.
        drill: How the stop drill stands, None if there never was one.
        ticking: How the instructor's checklist stands, None if it was never opened.
    """

    target: Target
    state: PushState
    push: Push
    new: ResolvedSeries | None
    recent: tuple[ResolvedSeries, ...]
    feed: FeedState
    practice: PracticeLook | None = None
    corridor: Corridor | None = None
    drill: DrillLook | None = None
    ticking: TickingLook | None = None


class Trainer:
    """Looks at a feed and keeps the last seconds.

    Args:
        feed: Where it comes from, open.
        practice: A plan to follow, None to practise freely.

    Attributes:
        record_soon: Begin to record as soon as samples come.
    """

    def __init__(self, feed: LiveFeed, practice: PracticeRun | None = None) -> None:
        self.feed = feed
        self.practice = practice
        self.record_soon = False
        self._zero_note = ZeroNote(feed)
        self.corridor: CorridorModel | None = None
        self.drill: StopDrillModel | None = None
        self.sound: Sound | None = None
        self.ticking: TickingModel | None = None
        self._recent: deque[ResolvedSeries] = deque()

    def refresh(self) -> Moment:
        """Pull what is new and return the moment."""
        new = self.feed.refresh()
        if new is not None and len(new):
            self._keep(new)
            self._record_what_was_promised()
            self._zero_note.follow(new)
        moment = moment_of(self.feed.target, new, tuple(self._recent), self.feed.state())
        if self.corridor is not None:
            moment = replace(moment, corridor=self._corridor(self.corridor, moment))
        if self.practice is not None:
            moment = replace(moment, practice=self.practice.look(moment))
        if self.drill is not None:
            moment = replace(moment, drill=self.drill.look(moment))
        if self.ticking is not None:
            moment = replace(moment, ticking=self.ticking.look(moment))
        if self.sound is not None:
            self.sound.follow(moment)
        return moment

    def _record_what_was_promised(self) -> None:
        if self.record_soon:
            self.record_soon = False
            if self.feed.state().recording.path is None:
                self.feed.toggle_recording()

    def show_reference(self, reference: Reference) -> None:
        """Show the experts' band where the arm is."""
        from ui.live.corridor import CorridorModel

        self.corridor = CorridorModel(reference)

    def toggle_sound(self) -> None:
        """Let what is wrong be heard, or no longer; the feed tells what became of it."""
        from ui.live.practice.sound import Sound, switched

        self.sound = self.sound or Sound()
        words, well = switched(self.sound)
        if well:
            self.feed.note_event("sound", words)
        self.feed.tell(words)

    def take_checklist(self, checklist: Checklist | None = None) -> TickingModel:
        """Return the instructor's checklist, which begins with this one, or the sample."""
        from ui.live.practice.checklist import load_checklist
        from ui.live.practice.ticking import TickingModel

        if self.ticking is None:
            self.ticking = TickingModel(checklist or load_checklist(), self.feed.note_event)
        return self.ticking

    def close(self) -> None:
        """Close sound and feed; twice is fine."""
        if self.sound is not None:
            self.sound.turn_off()
        self.feed.close()

    def arm_drill(self, seed: int) -> None:
        """Let a stop be called in one of the next repetitions.

        Args:
            seed: Decides when, for the first drill; it goes on from there.
        """
        from ui.live.practice.stop_drill import StopDrillModel

        if self.drill is None:
            self.drill = StopDrillModel(seed=seed, call=self._call_stop)
        self.drill.arm()

    def _call_stop(self, kind: str, text: str) -> float:
        """Call; a repetition of a plan that is broken off by it does not count."""
        at_s = self.feed.call_stop(kind, text)
        if self.practice is not None:
            self.practice.break_off("stop drill")
        return at_s

    def _corridor(self, model: CorridorModel, moment: Moment) -> Corridor | None:
        last = newest_of(moment.recent)
        known = last is not None and moment.state is not PushState.NO_DATA
        height = np.rad2deg(last.elevation_rad[-1]) if last is not None and known else np.nan
        return model.look(moment.new, float(height), target_now(last, moment.target))

    def _keep(self, new: ResolvedSeries) -> None:
        if self._recent and new.time_s[0] < self._recent[-1].time_s[-1]:
            self._recent.clear()  # the rig began anew
        self._recent.append(new)
        oldest_s = float(new.time_s[-1]) - RECENT_S
        while self._recent[0].time_s[-1] < oldest_s:
            self._recent.popleft()


def moment_of(
    target: Target,
    new: ResolvedSeries | None,
    recent: tuple[ResolvedSeries, ...],
    feed: FeedState,
) -> Moment:
    """Return the moment that the newest rows and the feed make."""
    last = newest_of(recent)
    state = push_state(last, feed, target)
    return Moment(target, state, push_now(last, state, target), new, recent, feed)
