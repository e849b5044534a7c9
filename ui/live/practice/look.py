"""What practice shows at one moment: where in the plan it is, and what may be seen."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from analysis.said import listed, said
from ui.live.practice.card import Card
from ui.live.practice.plan import Bandwidth, Block, Continuous, Faded, OnRequest, Summary


class RunState(Enum):
    """Where a run stands; the text is for the screen."""

    READY = "ready for the next repetition"
    MOVING = "repetition under way"
    PAUSED = "paused"
    FINISHED = "the plan is done"


@dataclass(frozen=True, slots=True)
class PracticeLook:
    """One look at a run.

    Attributes:
        state: Where it stands.
        title: Of the plan.
        block: Number of the block, from 1.
        blocks: How many.
        block_name: Of this one.
        repetition: Number in the block, from 1.
        repetitions: How many it has.
        feedback: Its condition.
        feedback_visible: Whether what tells of an error may be seen now.
        instead: What to say in its place; empty while it is seen.
        say: What the trainee is told at the beginning of the block, else empty.
        card: Of what was done last, None if none is to be seen.
        may_ask: The trainee may ask for the card now.
        seen_anyway: The plan hides the picture, but the instructor's view stands where it is seen.
    """

    state: RunState
    title: str
    block: int
    blocks: int
    block_name: str
    repetition: int
    repetitions: int
    feedback: str
    feedback_visible: bool
    instead: str
    say: str
    card: Card | None
    may_ask: bool
    seen_anyway: bool = False

    @property
    def word(self) -> str:
        """Where in the plan it is, in one line."""
        if self.state is RunState.FINISHED:
            return listed(" · ", (self.title, self.state.value))
        place = said("block {} of {}: {}", self.block, self.blocks, self.block_name)
        count = said("repetition {} of {}", self.repetition, self.repetitions)
        paused = self.state.value if self.state is RunState.PAUSED else ""
        return listed(" · ", (place, count, paused))


def instead_of(block: Block, state: RunState) -> str:
    """Return in a few words why there is no picture."""
    if state is RunState.PAUSED:
        return "paused"
    if isinstance(block, Bandwidth):
        return "quiet means right: go on as you are"
    if isinstance(block, Faded):
        return "this one without the picture"
    if isinstance(block, Summary):
        return said("feel it yourself: the card comes after {} repetitions", block.after)
    if isinstance(block, OnRequest):
        return "feel it yourself: Space or A shows the card afterwards, if you want it"
    return "" if isinstance(block, Continuous) else "no feedback in this block"
