"""Colours, fonts and pens of the window. No colour carries a meaning alone."""

from __future__ import annotations

from PySide6.QtGui import QColor, QFont, QPalette

PAPER = QColor("#fbfcfd")
INK = QColor("#1d2733")
QUIET = QColor("#66727f")
LINE = QColor("#c3ccd5")
GROUND = QColor("#e9edf1")
BAND = QColor("#d5e4f2")
GOOD = QColor("#0b5cad")
BAD = QColor("#b85600")
WARM = QColor("#fdeeda")


def font(points: float, *, bold: bool = False) -> QFont:
    """Return the window's font in a size."""
    made = QFont()
    made.setPointSizeF(points)
    made.setBold(bold)
    return made


def paper() -> QPalette:
    """Return ink on paper, whatever theme the desktop has."""
    made = QPalette()
    made.setColor(QPalette.ColorRole.Window, PAPER)
    made.setColor(QPalette.ColorRole.WindowText, INK)
    return made


def faded(colour: QColor, alpha: int) -> QColor:
    """Return a colour that lets through what lies below; *alpha* from 0 to 255."""
    made = QColor(colour)
    made.setAlpha(alpha)
    return made
