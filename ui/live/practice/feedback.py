"""What each condition of feedback shows, during a repetition and after it.

FEEDBACK.md says why. A new condition is a table in `plan.py` and its lines here.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.criteria import judge, one_thing
from analysis.live_measures import MeasuredRepetition
from analysis.target import Target
from ui.live.moment import Moment
from ui.live.practice.bandwidth import outside, widened
from ui.live.practice.card import AfterRepetition, Card, repetition_card, summary_card
from ui.live.practice.plan import (
    Bandwidth,
    Block,
    Continuous,
    Faded,
    OnRequest,
    Summary,
    faded_shows,
)


class PictureGate:
    """Tells whether the picture may be seen.

    Args:
        target: What the push is judged against.
    """

    def __init__(self, target: Target) -> None:
        self._target = target
        self._outside_at_s = -float("inf")

    def begin(self, block: Block, repetition: int) -> bool:
        """Return what a repetition of a block begins with."""
        self._outside_at_s = -float("inf")
        if isinstance(block, Faded):
            return faded_shows(block, repetition)
        return isinstance(block, Continuous)

    def now(self, block: Block, repetition: int, moment: Moment, *, moving: bool) -> bool:
        """Return whether it may be seen at a moment.

        Args:
            block: Of the plan.
            repetition: Its number in the block, from 1.
            moment: Now.
            moving: The arm is away from home.
        """
        if not isinstance(block, Bandwidth):
            return self.begin(block, repetition)
        now_s = float(moment.recent[-1].time_s[-1]) if moment.recent else 0.0
        if outside(moment, widened(self._target, block.tolerance_percent), moving=moving):
            self._outside_at_s = now_s
        return 0.0 <= now_s - self._outside_at_s < block.lingers_s


def card_after(
    block: Block,
    done: Sequence[AfterRepetition],
    one: MeasuredRepetition,
    target: Target,
    *,
    asked: bool,
) -> tuple[Card, str] | None:
    """Return the card that a block asks for after a repetition, with its kind; None if none.

    Args:
        block: Of the plan.
        done: What counts in this block, in order, the repetition that is over last.
        one: The record of that.
        target: What it is judged against.
        asked: The trainee asked for the card while it was under way.
    """
    if isinstance(block, Summary):
        rest = len(done) % block.after
        if rest and done[-1].number < block.repetitions:
            return None
        return summary_card(done[-(rest or block.after) :]), "summary"
    if isinstance(block, OnRequest):
        return (repetition_card(done[-1]), "asked") if asked else None
    due = isinstance(block, Continuous)
    if isinstance(block, Faded):
        due = faded_shows(block, done[-1].number)
    elif isinstance(block, Bandwidth):
        wide = widened(target, block.tolerance_percent)
        due = one_thing(judge(one.repetition, one.series, wide)) is not None
    return (repetition_card(done[-1]), "repetition") if due else None
