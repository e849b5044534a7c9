"""The trainer window: places the panels, hands them moments, and listens to keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QMainWindow, QWidget

from ui.desktop.look import INK, QUIET, font, paper
from ui.desktop.map_view import MapView
from ui.desktop.panels import PANELS
from ui.live.moment import Trainer

FRAME_MS = 25
"""A sample waits for the next frame, then for its painting: with 33 its way to the picture came
too near to the 50 ms it may take."""
KEYS = (
    "R record · Z zero, hand away · Space mark · V see it from the other side · "
    "F11 full screen · Q quit"
)
CAUTION = "training aid on a rig · never on a person · your school's rules apply"
FOOT_ROW = 6
WidgetT = TypeVar("WidgetT", bound=QWidget)


class TrainerWindow(QMainWindow):
    """Shows one feed; pulls a moment forty times a second.

    Args:
        trainer: Gives the moments; its feed is closed with the window.
    """

    def __init__(self, trainer: Trainer) -> None:
        super().__init__()
        self.trainer = trainer
        feed = trainer.feed
        self._panels = [
            (panel, panel.model(), panel.widget(feed.target, feed.rig.rig.side)) for panel in PANELS
        ]
        self._keys: dict[int, Callable[[], object]] = {
            Qt.Key.Key_R: feed.toggle_recording,
            Qt.Key.Key_Z: feed.zero,
            Qt.Key.Key_Space: feed.mark,
            Qt.Key.Key_V: self.panel(MapView).look_from_the_other_side,
            Qt.Key.Key_F11: self._toggle_full_screen,
            Qt.Key.Key_Escape: self.showNormal,
            Qt.Key.Key_Q: self.close,
        }
        self._lay_out(f"rig {feed.rig.rig.id} · {feed.rig.rig.side} shoulder")
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.refresh)
        self._timer.start(FRAME_MS)

    def panel(self, kind: type[WidgetT]) -> WidgetT:
        """Return the first panel's widget of a kind.

        Raises:
            StopIteration: There is none.
        """
        return next(widget for _, _, widget in self._panels if isinstance(widget, kind))

    def refresh(self) -> None:
        """Pull a moment and draw it."""
        moment = self.trainer.refresh()
        for _, model, widget in self._panels:
            widget.show_look(model.look(moment))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        action = self._keys.get(event.key())
        if action is None or event.isAutoRepeat():
            super().keyPressEvent(event)
        else:
            action()

    def closeEvent(self, event: QCloseEvent) -> None:
        self._timer.stop()
        self.trainer.feed.close()
        super().closeEvent(event)

    def _lay_out(self, title: str) -> None:
        self.setWindowTitle(f"perpend · {title}")
        body = QWidget()
        body.setObjectName("body")
        body.setPalette(paper())
        body.setAutoFillBackground(True)
        grid = QGridLayout(body)
        grid.setContentsMargins(16, 10, 16, 8)
        grid.setHorizontalSpacing(14)
        grid.setVerticalSpacing(4)
        head = QHBoxLayout()
        head.addWidget(_label(title, 11, INK.name()))
        head.addSpacing(16)
        head.addWidget(_label(CAUTION, 9, QUIET.name()))
        head.addStretch(1)
        grid.addLayout(head, 0, 0, 1, 2)
        for panel, _, widget in self._panels:
            widget.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            grid.addWidget(widget, *panel.place)
        grid.addWidget(_label(KEYS, 9, QUIET.name()), FOOT_ROW, 0, 1, 3)
        grid.setColumnStretch(0, 6)
        grid.setColumnStretch(2, 4)
        grid.setRowStretch(4, 1)
        self.setCentralWidget(body)
        self.setMinimumSize(960, 640)
        self.resize(1280, 800)

    def _toggle_full_screen(self) -> None:
        if self.isFullScreen():
            self.showNormal()
        else:
            self.showFullScreen()


def _label(text: str, points: float, colour: str) -> QLabel:
    label = QLabel(text)
    label.setFont(font(points))
    label.setStyleSheet(f"color: {colour};")
    return label
