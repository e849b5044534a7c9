"""Colours, fonts and sizes of the window. No colour carries a meaning alone.

Blue and orange are told apart with every common kind of colour blindness, and each stands beside
a shape, a texture or a word. `use` changes the colours in place: who draws asks for them while
drawing and keeps no brush of its own from before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from PySide6.QtGui import QColor, QFont, QPalette

LIGHT: Mapping[str, str] = {
    "PAPER": "#fbfcfd",
    "INK": "#1d2733",
    "QUIET": "#5a6672",
    "LINE": "#c3ccd5",
    "GROUND": "#e9edf1",
    "BAND": "#d5e4f2",
    "GOOD": "#0b5cad",
    "BAD": "#b85600",
    "WARM": "#fdeeda",
}
DARK: Mapping[str, str] = {
    "PAPER": "#12181f",
    "INK": "#eef2f6",
    "QUIET": "#a3afbb",
    "LINE": "#46525e",
    "GROUND": "#28323c",
    "BAND": "#1f3d5c",
    "GOOD": "#6db6ff",
    "BAD": "#ff9d4d",
    "WARM": "#3d2c17",
}
PAPER, INK, QUIET, LINE, GROUND, BAND, GOOD, BAD, WARM = map(QColor, LIGHT.values())
_NAMED = dict(zip(LIGHT, (PAPER, INK, QUIET, LINE, GROUND, BAND, GOOD, BAD, WARM), strict=True))
LEAST_SCALE, MOST_SCALE = 0.8, 2.0


@dataclass(slots=True)
class _Size:
    """How much larger than usual everything written is."""

    scale: float = 1.0


_SIZE = _Size()


def use(*, dark: bool, text_scale: float = 1.0) -> None:
    """Take light or dark colours and a size of text, for all widgets made from now on."""
    for name, colour in (DARK if dark else LIGHT).items():
        _NAMED[name].setRgb(QColor(colour).rgb())
    _SIZE.scale = min(MOST_SCALE, max(LEAST_SCALE, text_scale))


def text_scale() -> float:
    """Return how much larger than usual text is; pictures drawn by hand grow with it."""
    return _SIZE.scale


def font(points: float, *, bold: bool = False, scaled: bool = True) -> QFont:
    """Return the window's font in a size.

    Args:
        points: At the usual size of text.
        bold: Or not.
        scaled: With the size of text; not where the painter is scaled already.
    """
    made = QFont()
    made.setPointSizeF(points * (_SIZE.scale if scaled else 1.0))
    made.setBold(bold)
    return made


def paper() -> QPalette:
    """Return ink on paper, whatever theme the desktop has."""
    made = QPalette()
    for role, colour in (
        (QPalette.ColorRole.Window, PAPER),
        (QPalette.ColorRole.WindowText, INK),
        (QPalette.ColorRole.Base, PAPER),
        (QPalette.ColorRole.AlternateBase, GROUND),
        (QPalette.ColorRole.Text, INK),
        (QPalette.ColorRole.Button, GROUND),
        (QPalette.ColorRole.ButtonText, INK),
        (QPalette.ColorRole.Highlight, GOOD),
        (QPalette.ColorRole.HighlightedText, PAPER),
        (QPalette.ColorRole.PlaceholderText, QUIET),
    ):
        made.setColor(role, colour)
    return made


def faded(colour: QColor, alpha: int) -> QColor:
    """Return a colour that lets through what lies below; *alpha* from 0 to 255."""
    made = QColor(colour)
    made.setAlpha(alpha)
    return made
