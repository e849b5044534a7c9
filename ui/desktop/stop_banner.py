"""The call of the stop drill, over everything, and how it was answered."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QSizePolicy

from analysis.target import Target
from ui.desktop.look import BAD, INK, PAPER, QUIET, font
from ui.desktop.words import tr
from ui.live.practice.stop_drill import DrillLook, DrillState


class StopBanner(QLabel):
    """Lies over the picture while a stop is called: read in no time, from across the room."""

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self.setAccessibleName(tr("call to stop"))
        self.setFont(font(40, bold=True))
        self.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setWordWrap(True)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self.setStyleSheet(
            f"color: {PAPER.name()}; background: {BAD.name()}; border: 12px solid {INK.name()};"
        )
        self.hide()

    def show_look(self, look: DrillLook | None) -> None:
        """Show one look."""
        text = "" if look is None else tr(look.call)
        if text == self.text():
            return
        self.setText(text)
        self.setVisible(bool(text))
        if text:
            self.raise_()


class DrillLine(QLabel):
    """For the instructor: whether a stop will be called, and how the last one was answered."""

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self.setAccessibleName(tr("stop drill"))
        self.setFont(font(9))
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setStyleSheet(f"color: {QUIET.name()};")

    def show_look(self, look: DrillLook | None) -> None:
        """Show one look."""
        text = ""
        if look is not None and look.state is not DrillState.OFF:
            text = " · ".join((tr(look.state.value), *(tr(line) for line in look.words)))
        if text != self.text():
            self.setText(text)
            self.setToolTip(text)
