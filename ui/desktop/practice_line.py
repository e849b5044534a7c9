"""Where in the plan practice stands, in one line."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QSizePolicy

from analysis.target import Target
from ui.desktop.look import INK, font
from ui.desktop.words import tr
from ui.live.practice.look import PracticeLook


class PracticeLine(QLabel):
    """Block, repetition, and what is said before a block; empty without a plan."""

    points = 12.0

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self.setAccessibleName(tr("place in the plan"))
        self.setFont(font(self.points, bold=True))
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setStyleSheet(f"color: {INK.name()};")

    def show_look(self, look: PracticeLook | None) -> None:
        """Show one look."""
        text = "" if look is None else tr(look.word)
        if look is not None and look.say:
            text = f"{text} · {tr(look.say)}"
        if text != self.text():
            self.setText(text)
            self.setToolTip(text)


class PlaceLine(PracticeLine):
    """The same for the instructor, beside everything else, in two lines if need be."""

    points = 10.0

    def __init__(self, target: Target, side: str) -> None:
        super().__init__(target, side)
        self.setWordWrap(True)
