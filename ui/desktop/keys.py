"""What each key of the window does. A foot switch that types a key works like the key."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtGui import QKeyEvent, QKeySequence

from ui.desktop.words import tr


@dataclass(frozen=True, slots=True)
class Key:
    """A key.

    Attributes:
        keys: As Qt writes them; the first is shown.
        words: What it does; empty where the last line of the window is better off without it.
        action: Does it, given the window.
        shown: How the key is written there, where that is not the first.
    """

    keys: tuple[str, ...]
    words: str
    action: Callable[[Any], object]
    shown: str = ""


def _answer(number: int) -> Callable[[Any], object]:
    """Return what answers an item of the instructor's checklist otherwise."""
    return lambda window: window.answer(number)


LOOK_KEYS: tuple[Key, ...] = (
    Key(("Ctrl++", "Ctrl+="), "larger text", lambda window: window.larger_text()),
    Key(("Ctrl+-",), "smaller", lambda window: window.smaller_text()),
    Key(("Ctrl+D",), "dark", lambda window: window.toggle_dark()),
)
"""Of every window."""

KEYS: tuple[Key, ...] = (
    Key(("R",), "record", lambda window: window.toggle_recording()),
    Key(("Z",), "zero, hand away", lambda window: window.zero()),
    Key(("Space", "Return", "Enter"), "mark", lambda window: window.mark()),
    Key(("A",), "ask how it went", lambda window: window.ask_for_feedback()),
    Key(("P",), "pause", lambda window: window.pause_or_resume()),
    Key(("X",), "skip", lambda window: window.skip_repetition()),
    Key(("B",), "again", lambda window: window.repeat_repetition()),
    Key(("D",), "stop drill", lambda window: window.stop_drill()),
    Key(("M",), "sound", lambda window: window.trainer.toggle_sound()),
    Key(("L",), "checklist", lambda window: window.show_checklist()),
    Key(("V",), "other side", lambda window: window.look_from_the_other_side()),
    Key(("T",), "other view", lambda window: window.change_view()),
    Key(("W",), "second window", lambda window: window.second_window()),
    Key(("S",), "save picture", lambda window: window.save_picture()),
    Key(("N",), "next person", lambda window: window.next_person()),
    *LOOK_KEYS,
    Key(("F11",), "full screen", lambda window: window.toggle_full_screen()),
    Key(("Esc",), "", lambda window: window.leave_full_screen()),
    Key(("Q",), "quit", lambda window: window.close()),
    *(Key((str(number),), "", _answer(number)) for number in range(1, 10)),
)
"""A new one is a line; what it does is a method of the window."""


def action_of(event: QKeyEvent, keys: Sequence[Key] = KEYS) -> Callable[[Any], object] | None:
    """Return what a pressed key asks for, None if nothing; held keys ask once."""
    if event.isAutoRepeat():
        return None
    pressed = QKeySequence(event.keyCombination())
    for key in keys:
        if any(pressed == QKeySequence(text) for text in key.keys):
            return key.action
    return None


def keys_in_words(keys: Sequence[Key] = KEYS) -> str:
    """Return the last line of a window: the keys and what they do."""
    return " · ".join(f"{key.shown or key.keys[0]} {tr(key.words)}" for key in keys if key.words)


def keys_for_the_trainee() -> str:
    """Return the last line of the trainee's view, which is left calm."""
    return tr(
        "Space or foot switch: mark, or the card where you may ask for it · T other view"
        " · F11 full screen · Esc leave it"
    )
