"""What is shown after a repetition, or after several: criteria with numbers, one thing to change.

The thing to change is the first criterion that is not met, in the order of
`analysis.criteria.CRITERIA`: upward slip first, then releasing early, too fast, direction, force,
steadiness. There is no overall score.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.criteria import Criterion, Verdict, judge, one_thing
from analysis.live_measures import MeasuredRepetition
from analysis.said import listed, said
from analysis.target import Target
from ui.judged import SIGNS, Judged, nothing_to_change


@dataclass(frozen=True, slots=True)
class CardRow:
    """One criterion.

    Attributes:
        label: What is judged.
        wanted: Its limit, short.
        verdicts: One for each repetition.
        found: Its number in each repetition, with unit, — if there is none.
        remarks: More about each, or why there is no number; often empty.
    """

    label: str
    wanted: str
    verdicts: tuple[Verdict, ...]
    found: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def signs(self) -> tuple[str, ...]:
        """A sign for each verdict."""
        return tuple(SIGNS[verdict] for verdict in self.verdicts)


@dataclass(frozen=True, slots=True)
class Card:
    """What to show of one or several repetitions.

    Attributes:
        title: Of which.
        numbers: Their numbers in the block.
        advice: The one thing to change, in plain words, or that there is nothing.
        change: There is something to change.
        where: The part of the arc where it happened, or in how many of the repetitions; may be
            empty.
        rows: The criteria, in the order in which to change things.
    """

    title: str
    numbers: tuple[int, ...]
    advice: str
    change: bool
    where: str
    rows: tuple[CardRow, ...]


@dataclass(frozen=True, slots=True)
class AfterRepetition:
    """A repetition that is over, judged.

    Attributes:
        number: In its block, from 1.
        judged: The record and its criteria.
    """

    number: int
    judged: Judged

    @property
    def change(self) -> Criterion | None:
        """The one thing to change, None if there is nothing."""
        return one_thing(self.judged.criteria)


def after_repetition(number: int, one: MeasuredRepetition, target: Target) -> AfterRepetition:
    """Judge a repetition that is over.

    Args:
        number: In its block, from 1.
        one: As measured live.
        target: What to judge it against.
    """
    found = judge(one.repetition, one.series, target)
    return AfterRepetition(number, Judged(one.repetition, found))


def repetition_card(one: AfterRepetition) -> Card:
    """Return the card of one repetition."""
    change = one.change
    return Card(
        title=said("repetition {}", one.number),
        numbers=(one.number,),
        advice=change.advice if change else nothing_to_change([one.judged]),
        change=change is not None,
        where=change.where if change else "",
        rows=_rows([one]),
    )


def summary_card(several: Sequence[AfterRepetition]) -> Card:
    """Return the card of several repetitions, at least one.

    The thing to change is the one that comes first, in the order of the criteria, among all the
    repetitions that have one.
    """
    lacking = [one for one in several if one.change is not None]
    first = min(lacking, key=_rank, default=None)
    numbers = tuple(one.number for one in several)
    title = (
        said("repetitions {} to {}", numbers[0], numbers[-1])
        if len(numbers) > 1
        else said("repetition {}", numbers[0])
    )
    advice = nothing_to_change(one.judged for one in several)
    where = ""
    if first is not None and first.change is not None:
        advice, key = first.change.advice, first.change.key
        same = [one for one in lacking if one.change is not None and one.change.key == key]
        arc = first.change.where
        place = said("repetition {}: {}", first.number, arc) if arc else ""
        where = listed("; ", (said("in {} of {}", len(same), len(several)), place))
    return Card(title, numbers, advice, first is not None, where, _rows(several))


def _rank(one: AfterRepetition) -> int:
    """Return the place of what is to be changed in the order of the criteria."""
    keys = [criterion.key for criterion in one.judged.criteria]
    return keys.index(one.change.key) if one.change else len(keys)


def _rows(several: Sequence[AfterRepetition]) -> tuple[CardRow, ...]:
    by_criterion = zip(*(one.judged.criteria for one in several), strict=True)
    return tuple(
        CardRow(
            label=same[0].label,
            wanted=same[0].wanted,
            verdicts=tuple(one.verdict for one in same),
            found=tuple(one.found for one in same),
            remarks=tuple(one.remark for one in same),
        )
        for same in by_criterion
    )
