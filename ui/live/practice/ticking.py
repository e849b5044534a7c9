"""The instructor's checklist while the student is at the rig: answered item by item.

Each answer is noted as an event in the recording, so that the sheet written afterwards
(`perpend assess`) knows it. What was answered before a recording began is noted in it once more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import msgspec

from acquisition.recording.model import Event
from ui.live.moment import Moment
from ui.live.practice.checklist import Checklist, Item, Tick

CHECKLIST_EVENT = "checklist"
NEXT = {Tick.OPEN: Tick.YES, Tick.YES: Tick.NO, Tick.NO: Tick.OPEN}
"""What an answer becomes when its item is touched again."""

Note = Callable[[str, str], object]


class TickEvent(msgspec.Struct, frozen=True, kw_only=True):
    """The text of a checklist event.

    Attributes:
        checklist: Name of the list.
        key: Of the item.
        tick: The answer, from now on.
    """

    checklist: str
    key: str
    tick: Tick


@dataclass(frozen=True, slots=True)
class TickingLook:
    """One look at the checklist.

    Attributes:
        title: Of the list.
        items: As answered so far, in order.
        shown: Whether the instructor wants to see it.
        turn: Answers an item otherwise, given its number from 1.
    """

    title: str
    items: tuple[Item, ...]
    shown: bool
    turn: Callable[[int], None]


class TickingModel:
    """Keeps the answers; must see every moment.

    Args:
        checklist: As answered so far.
        note: Takes kind and text of what is to be noted in the recording.
    """

    def __init__(self, checklist: Checklist, note: Note) -> None:
        self._checklist, self._note = checklist, note
        self._shown = False
        self._noted_in: Path | None = None

    @property
    def checklist(self) -> Checklist:
        """As answered so far."""
        return self._checklist

    def show_or_hide(self) -> None:
        """Let it be seen, or no longer; the answers stay."""
        self._shown = not self._shown

    def turn(self, number: int) -> None:
        """Answer an item otherwise: open, yes, no, and open again.

        Args:
            number: From 1. One that is on no list, or while nobody sees the list, does nothing.
        """
        if not self._shown or not 1 <= number <= len(self._checklist.items):
            return
        item = self._checklist.items[number - 1]
        self._checklist = self._checklist.ticked({item.key: NEXT[item.tick]})
        self._tell(self._checklist.items[number - 1])

    def look(self, moment: Moment) -> TickingLook:
        """Note in a new recording what was answered before, and return how the list stands."""
        recording = moment.feed.recording
        if recording.path is not None and recording.rows and recording.path != self._noted_in:
            self._noted_in = recording.path
            for item in self._checklist.items:
                if item.tick is not Tick.OPEN:
                    self._tell(item)
        return TickingLook(
            self._checklist.title, self._checklist.items, self._shown, turn=self.turn
        )

    def _tell(self, item: Item) -> None:
        event = TickEvent(checklist=self._checklist.name, key=item.key, tick=item.tick)
        self._note(CHECKLIST_EVENT, msgspec.json.encode(event).decode())


def ticked_in(events: Iterable[Event], checklist: Checklist) -> Checklist:
    """Return a checklist whose open items have the answers given at the rig, the last of each.

    Args:
        events: Of the recording, in order. Those of another list, and those that cannot be read,
            are left out.
        checklist: What it answers already was answered afterwards, and stays.
    """
    ticks: dict[str, Tick] = {}
    for event in events:
        told = _read(event.text) if event.kind == CHECKLIST_EVENT else None
        if told is not None and told.checklist == checklist.name:
            ticks[told.key] = told.tick
    still_open = [item.key for item in checklist.items if item.tick is Tick.OPEN]
    return checklist.ticked({key: ticks[key] for key in still_open if key in ticks})


def _read(text: str) -> TickEvent | None:
    try:
        return msgspec.json.decode(text.encode(), type=TickEvent)
    except (msgspec.DecodeError, UnicodeEncodeError):
        return None  # of another version, or damaged: the item stays open
