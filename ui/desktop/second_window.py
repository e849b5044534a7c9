"""The trainee's view in a window of its own, on a second screen where there is one."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QCloseEvent, QKeyEvent, QScreen
from PySide6.QtWidgets import QVBoxLayout, QWidget

from ui.desktop.view_body import ViewBody
from ui.desktop.words import tr


class SecondWindow(QWidget):
    """Shows a view that the first window feeds.

    Args:
        body: The view.
        gone: Called when this window is closed.
        key: Takes the keys pressed here: they do the same as in the first window, but for those
            that fill the screen.
    """

    def __init__(
        self, body: ViewBody, gone: Callable[[], None], key: Callable[[QKeyEvent], None]
    ) -> None:
        super().__init__()
        self.setWindowTitle(f"perpend · {tr(body.view.value)}")
        self.body = body
        self._gone, self._key = gone, key
        self._room = QVBoxLayout(self)
        self._room.setContentsMargins(0, 0, 0, 0)
        self._room.addWidget(body)

    def wear(self, body: ViewBody) -> None:
        """Show another body in place of the present one."""
        self._room.removeWidget(self.body)
        self.body.deleteLater()
        self.body = body
        self._room.addWidget(body)

    def show_on(self, screens: Sequence[QScreen], first: QScreen) -> None:
        """Fill a screen that is not the first window's; without one stand beside it."""
        other = next((screen for screen in screens if screen is not first), None)
        if other is None:
            self.resize(1280, 800)
            self.show()
            return
        self.setGeometry(other.geometry())
        self.showFullScreen()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        match event.key():
            case Qt.Key.Key_F11:
                self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)
            case Qt.Key.Key_Escape:
                self.setWindowState(self.windowState() & ~Qt.WindowState.WindowFullScreen)
            case _:
                self._key(event)

    def closeEvent(self, event: QCloseEvent) -> None:
        self._gone()
        super().closeEvent(event)
