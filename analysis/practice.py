"""Under which condition each repetition was done: from the events that practice leaves behind.

A plan that is followed marks what is due as events of kind ``practice``. They say before each
repetition which one it is and what may be seen, and afterwards what came of it. The text is a
small JSON record, so that programs can read it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import msgspec
import numpy as np
from numpy.typing import NDArray

from acquisition.recording.model import Recording
from analysis.event_times import event_times_s
from analysis.series import ResolvedSeries
from analysis.trial import Practice, Repetition

Floats = NDArray[np.float64]

PRACTICE_EVENT = "practice"
REASON_BYTES = 200
"""A longer reason is cut: an event has a limit."""


class Practised(StrEnum):
    """What a practice event tells."""

    ARMED = "armed"
    """The repetition named is the next one."""
    PICTURE = "picture"
    """The picture came or went."""
    CARD = "card"
    """A card was shown, for this repetition and some before it."""
    ASKED = "asked"
    """The trainee asked for the card."""
    AGAIN = "again"
    """The repetition that was done, or is being done, does not count."""
    SKIPPED = "skipped"
    """The repetition named will not be done."""
    PAUSED = "paused"
    """What is done from now on belongs to no plan."""
    ENDED = "ended"
    """Likewise, for good."""


class PracticeEvent(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The text of a practice event.

    Attributes:
        what: What it tells.
        plan: Name of the plan.
        plan_sha256: Of its content.
        block: Number of the block, from 1.
        block_name: For people.
        repetition: In the block, from 1.
        number: In the plan, from 1.
        of_blocks: How many blocks the plan has.
        of_repetitions: How many repetitions the block has.
        feedback: Condition, as in the plan.
        picture: Whether the picture is to be seen from now on.
        covers: How many repetitions a card tells of, this one the last.
        reason: Why, in words; for a card which kind.
    """

    what: Practised
    plan: str
    plan_sha256: str
    block: int
    block_name: str
    repetition: int
    number: int
    of_blocks: int
    of_repetitions: int
    feedback: str
    picture: bool = False
    covers: int = 1
    reason: str = ""

    def to_text(self) -> str:
        """Return the text for the recording."""
        plain = "".join(filter(str.isprintable, self.reason)).encode("utf-8", "replace")
        reason = plain[:REASON_BYTES].decode("utf-8", "ignore")
        short = msgspec.structs.replace(self, reason=reason)
        return msgspec.json.encode(short).decode()


@dataclass(frozen=True, slots=True)
class Told:
    """A practice event and when it was told, seconds on the series."""

    at_s: float
    event: PracticeEvent


def practice_told(recording: Recording, origin_us: float) -> tuple[Told, ...]:
    """Return the practice events of a recording, in order; what cannot be read is left out.

    Args:
        recording: With a force stream that has samples.
        origin_us: `analysis.timebase.Grid.origin_us`.
    """
    if not any(event.kind == PRACTICE_EVENT for event in recording.events):
        return ()
    found = []
    times_s = event_times_s(recording, origin_us)
    for event, at_s in zip(recording.events, times_s.tolist(), strict=True):
        read = read_event(event.text) if event.kind == PRACTICE_EVENT else None
        if read is not None:
            found.append(Told(at_s, read))
    return tuple(sorted(found, key=lambda told: told.at_s))


def with_practice(
    repetitions: Sequence[Repetition], told: Sequence[Told], series: ResolvedSeries
) -> tuple[Repetition, ...]:
    """Return the repetitions with the condition under which each was done.

    A repetition belongs to what was due when it came to its top: the next one can only be due
    once the arm is home again.
    """
    found = [replace(one, practice=_due(told, series, one)) for one in repetitions]
    for one in told:
        if one.event.what is Practised.AGAIN:
            _set_aside(found, one, series)
        elif one.event.what is Practised.CARD:
            _note_card(found, one, series)
    return tuple(found)


def read_event(text: str) -> PracticeEvent | None:
    """Return what a practice event says, None if that cannot be read."""
    try:
        return msgspec.json.decode(text.encode(), type=PracticeEvent)
    except (msgspec.DecodeError, UnicodeEncodeError):
        return None  # of another version, or damaged: the push can be measured all the same


def _due(told: Iterable[Told], series: ResolvedSeries, one: Repetition) -> Practice | None:
    spans = one.spans
    turn_s = _at(series, max(spans.raising.start, spans.raising.stop - 1))
    decisive = (Practised.ARMED, Practised.PAUSED, Practised.ENDED)
    due = None
    for each in told:
        if each.event.what in decisive and each.at_s <= turn_s:
            due = each.event
    if due is None or due.what is not Practised.ARMED:
        return None
    return Practice(
        plan=due.plan,
        plan_sha256=due.plan_sha256,
        block=due.block,
        block_name=due.block_name,
        repetition=due.repetition,
        number=due.number,
        of_blocks=due.of_blocks,
        of_repetitions=due.of_repetitions,
        feedback=due.feedback,
        picture_percent=_seen_percent(
            told, _at(series, spans.movement.start), _at(series, spans.movement.stop - 1)
        ),
    )


def _seen_percent(told: Iterable[Told], start_s: float, stop_s: float) -> float:
    """Return the share of a stretch of time in which the picture was to be seen, to 0.1 %."""
    seen_s, since_s, picture = 0.0, start_s, False
    for each in told:
        at_s = min(max(each.at_s, start_s), stop_s)
        seen_s += (at_s - since_s) if picture else 0.0
        since_s, picture = at_s, each.event.picture
    seen_s += (stop_s - since_s) if picture else 0.0
    return round(100.0 * seen_s / (stop_s - start_s), 1) if stop_s > start_s else 0.0


def _set_aside(found: list[Repetition], told: Told, series: ResolvedSeries) -> None:
    """Note on the repetition that was done last, or is under way, why it does not count."""
    for index in reversed(range(len(found))):
        one = found[index]
        if _at(series, one.spans.raising.start) < told.at_s:
            under_way = told.at_s < _at(series, one.spans.movement.stop)
            meant = one.practice is not None and one.practice.number == told.event.number
            if one.practice is not None and (meant or under_way):
                aside = replace(one.practice, set_aside=told.event.reason or "no reason given")
                found[index] = replace(one, practice=aside)
            return


def _note_card(found: list[Repetition], told: Told, series: ResolvedSeries) -> None:
    covered = range(told.event.number - told.event.covers + 1, told.event.number + 1)
    for index, one in enumerate(found):
        if one.practice is None or _at(series, one.spans.raising.start) >= told.at_s:
            continue
        if one.practice.number in covered and not one.practice.set_aside:
            found[index] = replace(one, practice=replace(one.practice, card=told.event.reason))


def _at(series: ResolvedSeries, row: int) -> float:
    return float(series.time_s[min(row, len(series) - 1)])
