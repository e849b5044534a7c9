"""The instructor's checklist over the traces: numbers to press, or items to touch."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QFrame, QLabel, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from analysis.target import Target
from ui.desktop.look import BAD, GOOD, INK, LINE, PAPER, QUIET, font
from ui.desktop.words import tr
from ui.live.practice.checklist import TICK_SIGNS, Item, Tick
from ui.live.practice.ticking import TickingLook


class ChecklistPanel(QScrollArea):
    """For the instructor only; hides itself while the list is not wanted."""

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self.setAccessibleName(tr("the instructor's checklist"))
        self.setObjectName("checklist")
        self.setStyleSheet(f"#checklist {{ border: 2px solid {LINE.name()}; }}")
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self._look: TickingLook | None = None
        self._lines: list[_ItemLine] = []
        self.hide()

    @property
    def lines(self) -> tuple[str, ...]:
        """What stands in the list, line by line."""
        return tuple(line.text() for line in self._lines)

    def touch(self, number: int) -> None:
        """Answer an item otherwise, as a click on it does; *number* counts from 1."""
        if self._look is not None:
            self._look.turn(number)

    def show_look(self, look: TickingLook | None) -> None:
        """Show one look."""
        if look == self._look:
            return
        if look is not None and len(look.items) != len(self._lines):
            self._lay_out(look)
        self._look = look
        for number, line in enumerate(self._lines, 1):
            if look is not None:
                line.show_item(number, look.items[number - 1])
        self.setVisible(look is not None and look.shown)
        self.raise_()

    def _lay_out(self, look: TickingLook) -> None:
        inside = QWidget()
        inside.setStyleSheet(f"background: {PAPER.name()};")
        column = QVBoxLayout(inside)
        title = QLabel(tr(look.title))
        title.setFont(font(11, bold=True))
        title.setStyleSheet(f"color: {INK.name()};")
        column.addWidget(title)
        self._lines = [_ItemLine(number, self.touch) for number in range(1, len(look.items) + 1)]
        for line in self._lines:
            column.addWidget(line)
        foot = QLabel(tr("press its number or touch it: open, yes, no · L puts the list away"))
        foot.setFont(font(9))
        foot.setStyleSheet(f"color: {QUIET.name()};")
        foot.setWordWrap(True)
        column.addWidget(foot)
        column.addStretch(1)
        self.setWidget(inside)


class _ItemLine(QLabel):
    """One item: number, sign and word of the answer, text."""

    def __init__(self, number: int, touched: Callable[[int], None]) -> None:
        super().__init__()
        self._number, self._touched = number, touched
        self.setFont(font(11))
        self.setWordWrap(True)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def show_item(self, number: int, item: Item) -> None:
        """Show an item as answered now."""
        colour = {Tick.YES: GOOD, Tick.NO: BAD}.get(item.tick, INK).name()
        text = f"{number}  {TICK_SIGNS[item.tick]} {tr(item.tick.value)} · {tr(item.text)}"
        if text != self.text():
            self.setText(text)
            self.setAccessibleName(text)
            self.setStyleSheet(f"color: {colour};")

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._touched(self._number)
