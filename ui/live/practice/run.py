"""A plan that is being followed: which repetition of which block it is, and what may be seen.

A state machine without Qt that looks at every moment. A repetition counts when its record is
there, within a second of the arm being home. Whatever is decided is noted as an event in the
recording (`analysis.practice`). A line that is lost leaves everything as it is: the repetition
that it broke is done again.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.live_measures import LiveMeasures, MeasuredRepetition
from analysis.practice import PRACTICE_EVENT, PracticeEvent, Practised
from analysis.repetition_tracker import MovementPhase
from analysis.target import Target
from ui.live.feed import LiveFeed
from ui.live.moment import Moment
from ui.live.practice.card import AfterRepetition, Card, after_repetition, repetition_card
from ui.live.practice.feedback import PictureGate, card_after
from ui.live.practice.look import PracticeLook, RunState, instead_of
from ui.live.practice.plan import Block, OnRequest, Plan, plan_named, shipped_plans

__all__ = ["PracticeLook", "PracticeRun", "RunState", "plans", "practice_for"]

Note = Callable[[str, str], object]
UNDER_WAY = (MovementPhase.RAISE, MovementPhase.LOWER)
RUNNING = (RunState.READY, RunState.MOVING)
NEVER_S = -float("inf")
TOLD_S = 2.5
"""A repetition that is over is told by then; what is not was too small to be one."""


def plans() -> tuple[tuple[str, str], ...]:
    """Return name and title of the plans that ship."""
    return tuple((plan.name, plan.title) for plan in shipped_plans().values())


def practice_for(plan: str | Path, feed: LiveFeed) -> PracticeRun:
    """Return a run of a plan on an open feed.

    Args:
        plan: Name of one that ships, or a file.
        feed: Whose push it looks at and in whose recording it is noted.

    Raises:
        PlanError: There is no such plan, or it is broken.
    """
    return PracticeRun(
        plan_named(str(plan)), target=feed.target, side=feed.rig.rig.side, note=feed.note_event
    )


class PracticeRun:
    """Follows a plan; must see every moment.

    Args:
        plan: The plan.
        target: What the push is judged against.
        side: Of the rig.
        note: Takes kind and text of what is to be noted in the recording.

    Attributes:
        plan: The plan.
        done: What counts so far, by its number in the plan, from 1.
        uncovered: The instructor's view stands where the trainee may look, so the picture is
            seen whatever the plan says.
    """

    def __init__(self, plan: Plan, *, target: Target, side: str, note: Note) -> None:
        self.plan = plan
        self.done: dict[int, AfterRepetition] = {}
        self.uncovered = False
        self._target, self._side, self._note = target, side, note
        self._places = tuple(
            (block, repetition)
            for block, table in enumerate(plan.blocks, 1)
            for repetition in range(1, table.repetitions + 1)
        )
        self._number = 1
        self._state = RunState.READY
        self._measures: LiveMeasures | None = None
        self._gate = PictureGate(target)
        self._picture = False
        self._covering = False
        """The plan hides the picture now."""
        self._asked = False
        self._card: Card | None = None
        self._let_go = False
        """The hand was away since the card came."""
        self._last = 0
        """Number in the plan of what was done last, 0 before."""
        self._now_s = NEVER_S
        self._away_s = NEVER_S
        """When the arm was last away from home."""
        self._not_before_s = NEVER_S
        """What began before does not count."""
        self._aside_s = NEVER_S
        """Of what began before, that was told already."""
        self._noted_in: Path | None = None
        self._arm()

    @property
    def state(self) -> RunState:
        """Where it stands."""
        return self._state

    @property
    def may_ask(self) -> bool:
        """Whether the trainee may ask for the card now."""
        return not self._why_not_ask()

    def look(self, moment: Moment) -> PracticeLook:
        """Follow the arm, and return what may be seen now."""
        self._follow(moment)
        self._note_in_a_new_recording(moment)
        number, repetition = self._places[self._number - 1]
        block = self._block
        if self._state in RUNNING:
            planned = self._gate.now(block, repetition, moment, moving=self._away)
            self._show(picture=planned or self.uncovered)
            self._covering = not planned
        visible = self._picture or self._state is RunState.FINISHED
        return PracticeLook(
            state=self._state,
            title=self.plan.title,
            block=number,
            blocks=len(self.plan.blocks),
            block_name=block.name,
            repetition=repetition,
            repetitions=block.repetitions,
            feedback=block.feedback,
            feedback_visible=visible,
            instead="" if visible else instead_of(block, self._state),
            say=block.say if repetition == 1 and self._state is RunState.READY else "",
            card=self._card,
            may_ask=self.may_ask,
            seen_anyway=self._covering and self.uncovered and self._state in RUNNING,
        )

    def ask(self) -> str:
        """Show the card of the last repetition, or of the present one when it is over.

        Returns:
            Why not, in words; empty if it is shown or will be.
        """
        why_not = self._why_not_ask()
        if why_not:
            return why_not
        if self._state is RunState.MOVING:
            self._asked = True
            self._tell(Practised.ASKED)
        else:
            self._tell(Practised.ASKED, self._last)
            self._show_card(repetition_card(self.done[self._last]), "asked", self._last)
        return ""

    def pause(self) -> None:
        """Stop counting: what is done from now on belongs to no plan."""
        if self._state not in RUNNING:
            return
        self._leave_out("paused on the way")
        self._state, self._picture, self._card = RunState.PAUSED, False, None
        self._tell(Practised.PAUSED)

    def resume(self) -> None:
        """Go on with the repetition that was due."""
        if self._state is RunState.PAUSED:
            self._not_before_s = self._now_s
            self._arm()

    def skip(self, reason: str) -> None:
        """Go on to the next repetition without this one.

        Args:
            reason: For the recording.
        """
        if self._state is RunState.FINISHED:
            return
        self._leave_out(reason)
        self._tell(Practised.SKIPPED, reason=reason)
        self._go_on()

    def repeat(self, reason: str) -> None:
        """Let the repetition under way not count, or, between two, the last one.

        In a pause nothing is done again.

        Args:
            reason: For the recording.
        """
        if self._state is RunState.MOVING:
            self._leave_out(reason)
        elif self._last and self._state is not RunState.PAUSED:
            self._number, self._last = self._last, 0
            del self.done[self._number]
            self._tell(Practised.AGAIN, reason=reason)
        else:
            return
        self._card = None
        self._arm()

    def break_off(self, reason: str) -> None:
        """Let the repetition under way, if any, not count; nothing else is undone.

        Args:
            reason: For the recording.
        """
        if self._state is RunState.MOVING:
            self.repeat(reason)

    def end(self, reason: str) -> None:
        """Leave the plan.

        Args:
            reason: For the recording.
        """
        if self._state is not RunState.FINISHED:
            self._leave_out(reason)
            self._finish(reason)

    @property
    def _block(self) -> Block:
        return self.plan.blocks[self._places[self._number - 1][0] - 1]

    @property
    def _away(self) -> bool:
        """Whether the arm is away from home now."""
        return self._away_s == self._now_s > NEVER_S

    def _follow(self, moment: Moment) -> None:
        if moment.new is None or not len(moment.new):
            return
        if self._measures is None:
            self._measures = LiveMeasures(self._target, fs_hz=moment.new.fs_hz, side=self._side)
        told = self._measures.feed(moment.new)
        if moment.new.time_s[0] < self._now_s:
            self._begin_anew()
            told = ()
        self._now_s = float(moment.new.time_s[-1])
        if self._measures.phase in UNDER_WAY:
            self._away_s = self._now_s
        if self._state in RUNNING:
            self._move()
        self._put_card_away(hand_on=bool(moment.new.contact[-1]))
        for one in told:
            if self._state in RUNNING:
                self._over(one)

    def _begin_anew(self) -> None:
        """Do the repetition under way again: the rig has restarted, and its time with it."""
        self._not_before_s = self._away_s = self._aside_s = NEVER_S
        if self._state is RunState.MOVING:
            self._tell(Practised.AGAIN, reason="the line was lost")
            self._arm()

    def _move(self) -> None:
        """Follow the arm away from home and back."""
        if self._away:
            self._card = self._card if self._state is RunState.MOVING else None
            self._state = RunState.MOVING
        elif self._now_s - self._away_s > TOLD_S:
            self._state = RunState.READY

    def _put_card_away(self, *, hand_on: bool) -> None:
        """Make room for the picture once the hand is put on for the next repetition."""
        if hand_on and self._let_go:
            self._card = None
        self._let_go |= not hand_on

    def _over(self, one: MeasuredRepetition) -> None:
        """Take a repetition that is over: count it, or say why it is done again."""
        began_s = float(one.series.time_s[one.repetition.spans.raising.start])
        if began_s < self._not_before_s:
            if began_s >= self._aside_s:
                self._tell(Practised.AGAIN, reason="it began in the pause")
            return
        if not one.repetition.spans.complete:
            self._tell(Practised.AGAIN, reason="it was not finished")
            self._arm()
            return
        self._last = self._number
        repetition = self._places[self._number - 1][1]
        self.done[self._number] = after_repetition(repetition, one, self._target)
        due = card_after(self._block, self._of_block(), one, self._target, asked=self._asked)
        if due is not None:
            self._show_card(*due, self._number)
        self._go_on()

    def _of_block(self) -> list[AfterRepetition]:
        """Return what counts of the present block, in order."""
        block = self._places[self._number - 1][0]
        return [one for number, one in self.done.items() if self._places[number - 1][0] == block]

    def _show_card(self, card: Card, kind: str, number: int) -> None:
        self._card, self._let_go = card, False
        self._tell(Practised.CARD, number, covers=len(card.numbers), reason=kind)

    def _go_on(self) -> None:
        if self._number == len(self._places):
            self._finish("every repetition was done")
            return
        self._number += 1
        self._arm()

    def _finish(self, reason: str) -> None:
        self._state, self._picture = RunState.FINISHED, False
        self._tell(Practised.ENDED, reason=reason)

    def _arm(self) -> None:
        """Let the repetition of now be the next."""
        self._state, self._asked = RunState.READY, False
        planned = self._gate.begin(self._block, self._places[self._number - 1][1])
        self._picture = planned or self.uncovered
        self._tell(Practised.ARMED)

    def _leave_out(self, reason: str) -> None:
        """Let the repetition under way, if any, not count."""
        if self._state is RunState.MOVING:
            self._tell(Practised.AGAIN, reason=reason)
            self._not_before_s = self._aside_s = self._now_s

    def _why_not_ask(self) -> str:
        if self._state is RunState.PAUSED:
            return "paused"
        number = self._number if self._state is RunState.MOVING else self._last
        if not number:
            return "nothing has been done yet"
        block = self.plan.blocks[self._places[number - 1][0] - 1]
        return "" if isinstance(block, OnRequest) else "in this block the card is not asked for"

    def _show(self, *, picture: bool) -> None:
        if picture != self._picture:
            self._picture = picture
            self._tell(Practised.PICTURE)

    def _note_in_a_new_recording(self, moment: Moment) -> None:
        """Say again what is due when a recording begins in the middle of a plan."""
        recording = moment.feed.recording
        if recording.path is not None and recording.rows and recording.path != self._noted_in:
            self._noted_in = recording.path
            if self._state in RUNNING:
                self._tell(Practised.ARMED)

    def _tell(
        self, what: Practised, number: int | None = None, *, covers: int = 1, reason: str = ""
    ) -> None:
        number = number or self._number
        block, repetition = self._places[number - 1]
        table = self.plan.blocks[block - 1]
        event = PracticeEvent(
            what=what,
            plan=self.plan.name,
            plan_sha256=self.plan.sha256,
            block=block,
            block_name=table.name,
            repetition=repetition,
            number=number,
            of_blocks=len(self.plan.blocks),
            of_repetitions=table.repetitions,
            feedback=table.feedback,
            picture=self._picture,
            covers=covers,
            reason=reason,
        )
        self._note(PRACTICE_EVENT, event.to_text())
