"""Lines of text about line and recording."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QSizePolicy

from analysis.target import Target
from ui.desktop.look import BAD, INK, QUIET, WARM, font
from ui.desktop.words import tr
from ui.live.line_health import HealthLook

HARD_SPACE = "\u00a0"
"""Where a line may not be broken."""


class _Line(QLabel):
    """One line that never makes the window wider: what does not fit is cut off at its end."""

    def __init__(self, name: str, points: float, *, bold: bool = False) -> None:
        super().__init__()
        self.setAccessibleName(name)
        self.setFont(font(points, bold=bold))
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    def say(self, text: str, style: str) -> None:
        """Show a text in a style, if it is not there already: both are costly."""
        if text != self.text():
            self.setText(text)
            self.setToolTip(text)
        if style != self.styleSheet():
            self.setStyleSheet(style)


class StatusLine(_Line):
    """Connection, age of the newest sample, rate, loss and heading."""

    def __init__(self, target: Target, side: str) -> None:
        super().__init__(tr("state of the line"), 9)
        self.setWordWrap(True)

    def show_look(self, look: HealthLook) -> None:
        """Show one look."""
        line = tr(look.line)
        text = line if look.well else f"▲ {line}"
        text = text.replace(" ", HARD_SPACE).replace(f"{HARD_SPACE}·{HARD_SPACE}", " · ")
        self.say(text, f"color: {(INK if look.well else BAD).name()};")


class RecordingLine(_Line):
    """What is being recorded."""

    def __init__(self, target: Target, side: str) -> None:
        super().__init__(tr("recording"), 11, bold=True)

    def show_look(self, look: HealthLook) -> None:
        """Show one look."""
        if look.recording:
            self.say(f"● REC {tr(look.recording)}", f"color: {BAD.name()};")
        else:
            self.say(f"○ {tr('not recording')}", f"color: {QUIET.name()};")


class TroubleLine(_Line):
    """Trouble, or what was done last. Never stands in the way."""

    def __init__(self, target: Target, side: str) -> None:
        super().__init__(tr("messages"), 11, bold=True)

    def show_look(self, look: HealthLook) -> None:
        """Show one look."""
        if look.trouble:
            self.say(
                f"▲ {tr(look.banner)}",
                f"color: {BAD.name()}; background: {WARM.name()}; padding: 3px 8px;",
            )
        else:
            self.say(tr(look.banner), f"color: {INK.name()}; padding: 3px 8px;")
