"""Colours, fonts and pens of the window. No colour carries a meaning alone."""

from __future__ import annotations

from PySide6.QtGui import QColor, QFont

PAPER = QColor("#fbfcfd")
INK = QColor("#1d2733")
QUIET = QColor("#7d8894")
LINE = QColor("#cfd6dd")
BAND = QColor("#dfe9e4")
GOOD = QColor("#0b5cad")
BAD = QColor("#c75d00")
UNSURE = QColor("#5b6672")


def font(points: float, *, bold: bool = False) -> QFont:
    """Return the window's font in a size; digits keep their place."""
    made = QFont()
    made.setPointSizeF(points)
    made.setBold(bold)
    return made
