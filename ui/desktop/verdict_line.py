"""The one thing to say now, large."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QSizePolicy

from analysis.target import Target
from ui.desktop.look import BAD, GOOD, QUIET, font
from ui.desktop.words import tr
from ui.live.verdict import Tone, VerdictLook

TONES = {Tone.GOOD: ("● ", GOOD), Tone.CHANGE: ("▲ ", BAD), Tone.WAIT: ("", QUIET)}


class VerdictLine(QLabel):
    """Shows the words; a sign before them says good or not without colour."""

    points = 20.0

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self.setAccessibleName(tr("what to change"))
        self.setFont(font(self.points, bold=True))
        self.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    def show_look(self, look: VerdictLook) -> None:
        """Show one look."""
        sign, colour = TONES[look.tone]
        text = sign + tr(look.text)
        if text != self.text():
            self.setText(text)
            self.setStyleSheet(f"color: {colour.name()};")


class LargeVerdict(VerdictLine):
    """The same, to be read from the rig."""

    points = 30.0
