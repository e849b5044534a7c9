"""Where in the plan practice stands, in one line."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QSizePolicy

from analysis.target import Target
from ui.desktop.look import INK, font
from ui.desktop.words import tr
from ui.live.practice.look import PracticeLook

SEEN_ANYWAY = "this picture counts as seen: T, or W on a second screen, hides it"


class PracticeLine(QLabel):
    """Block, repetition, and what is said before a block; empty without a plan."""

    points = 12.0

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self.setAccessibleName(tr("place in the plan"))
        self.setFont(font(self.points, bold=True))
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setWordWrap(True)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setStyleSheet(f"color: {INK.name()};")

    def show_look(self, look: PracticeLook | None) -> None:
        """Show one look."""
        text = self.words_of(look)
        if text != self.text():
            self.setText(text)
            self.setToolTip(text)

    def words_of(self, look: PracticeLook | None) -> str:
        """Return what the line says of a look."""
        if look is None:
            return ""
        return " · ".join(filter(None, (tr(look.word), tr(look.say) if look.say else "")))


class PlaceLine(PracticeLine):
    """The same for the instructor, beside everything else, in two lines if need be."""

    points = 10.0

    def words_of(self, look: PracticeLook | None) -> str:
        """Return the same, and whether the trainee sees what the plan hides."""
        warning = f"▲ {tr(SEEN_ANYWAY)}" if look is not None and look.seen_anyway else ""
        return " · ".join(filter(None, (super().words_of(look), warning)))
