"""A practice session with the virtual rig, on a clock of its own, without a window."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from acquisition.clock import NS_PER_S
from analysis.practice import PracticeEvent, Practised
from analysis.target import Target
from ui.live.moment import moment_of
from ui.live.practice.look import PracticeLook
from ui.live.practice.plan import Block, Plan
from ui.live.practice.run import PracticeRun

LOOK_NS = 80_000_000


class Lesson:
    """A person at the virtual rig following a plan.

    Attributes:
        told: What was noted, in order.
        looks: Every look that differs from the one before.
    """

    def __init__(self, bench: Any, plan: Plan) -> None:
        self.feed, self._trainer, self._clock = bench.feed, bench.trainer, bench.clock
        self.told: list[PracticeEvent] = []
        self.looks: list[PracticeLook] = []
        self.run = PracticeRun(
            plan, target=self.feed.target, side=self.feed.rig.rig.side, note=self._note
        )

    def _note(self, kind: str, text: str) -> None:
        self.feed.note_event(kind, text)
        self.told.append(msgspec.json.decode(text, type=PracticeEvent))

    def go_on_until(
        self, wanted: Callable[[PracticeLook], bool], *, at_most_s: float = 60.0
    ) -> PracticeLook:
        """Let time pass until a look is as wanted, and return it."""
        end_ns = self._clock.now_ns() + int(at_most_s * NS_PER_S)
        next_ns = 0
        while self._clock.now_ns() < end_ns:
            self._clock.sleep(max(self.feed.step(), 0.002))
            if self._clock.now_ns() < next_ns:
                continue
            next_ns = self._clock.now_ns() + LOOK_NS
            look = self.run.look(self._trainer.refresh())
            if not self.looks or look != self.looks[-1]:
                self.looks.append(look)
            if wanted(look):
                return look
        raise AssertionError(f"not within {at_most_s} s; the last was {self.looks[-1]}")

    def of(self, **what: Any) -> list[PracticeLook]:
        """Return the looks that have these attributes."""
        return [
            look
            for look in self.looks
            if all(getattr(look, name) == value for name, value in what.items())
        ]


@pytest.fixture
def lesson(bench: Callable[..., Any]) -> Callable[..., Lesson]:
    """Return a maker of lessons: the blocks, and options of the virtual rig."""

    def make(*blocks: Block, port: str = "trainee=T01&seed=7&top=45") -> Lesson:
        plan = Plan(name="mine", title="Mine", about="For a test.", block=blocks)
        return Lesson(bench(f"virtual:?reps=0&{port}"), plan)

    return make


class Puppet:
    """An arm moved by hand, which a run looks at; nothing else of a rig.

    Attributes:
        told: What was noted, in order.
        look: The last one.
    """

    def __init__(self, plan: Plan, steady: Callable[..., Any], well: Callable[..., Any]) -> None:
        self._steady, self._well = steady, well
        self._now_s = 0.0
        self.told: list[PracticeEvent] = []
        self.run = PracticeRun(plan, target=Target(), side="right", note=self._note)
        self.look = self._see(0.0)

    def _note(self, kind: str, text: str) -> None:
        assert kind == "practice"
        self.told.append(msgspec.json.decode(text, type=PracticeEvent))

    def _see(self, elevation_deg: float, *, hand_on: bool = False, **feed: Any) -> PracticeLook:
        hand_on = hand_on or elevation_deg > 0.0
        push = 40.0 * Target().direction * hand_on
        series = self._steady(
            push,
            seconds=0.1,
            start_s=self._now_s,
            elevation_deg=elevation_deg,
            speed_deg_s=elevation_deg / 3.0,
            contact=hand_on,
            directed=hand_on,
        )
        self._now_s += 0.1
        self.look = self.run.look(moment_of(Target(), series, (series,), self._well(**feed)))
        return self.look

    def rest(self, seconds: float = 3.0, **feed: Any) -> None:
        """Let the arm hang."""
        for _ in range(round(seconds / 0.1)):
            self._see(0.0, **feed)

    def touch(self) -> None:
        """Put the hand on, arm at home."""
        self._see(0.0, hand_on=True)

    def raise_arm(self, top_deg: float = 60.0) -> None:
        """Raise the arm, ten degrees in a tenth of a second."""
        for elevation_deg in range(10, int(top_deg) + 1, 10):
            self._see(float(elevation_deg))

    def lower_arm(self, top_deg: float = 60.0) -> None:
        """Lower it again."""
        for elevation_deg in range(int(top_deg), 0, -10):
            self._see(float(elevation_deg))

    def repeat(self, top_deg: float = 60.0) -> None:
        """Do one repetition and rest."""
        self.raise_arm(top_deg)
        self.lower_arm(top_deg)
        self.rest()

    def reasons(self, what: Practised) -> list[tuple[int, str]]:
        """Return number and reason of what was told."""
        return [(event.number, event.reason) for event in self.told if event.what is what]


@pytest.fixture
def puppet(steady: Callable[..., Any], well: Callable[..., Any]) -> Callable[..., Puppet]:
    """Return a maker of puppets: the blocks."""

    def make(*blocks: Block) -> Puppet:
        plan = Plan(name="mine", title="Mine", about="For a test.", block=blocks)
        return Puppet(plan, steady, well)

    return make
