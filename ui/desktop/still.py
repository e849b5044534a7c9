"""What of a picture drawn by hand never moves, painted once per size."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QPaintEngine, QPainter, QPixmap
from PySide6.QtWidgets import QWidget


class Still:
    """Keeps a painted layer: hatching is slow.

    Args:
        widget: Whose size it has.
        paint: Paints it, in the widget's own coordinates.
    """

    def __init__(self, widget: QWidget, paint: Callable[[QPainter], None]) -> None:
        self._widget = widget
        self._paint = paint
        self._layer = QPixmap()

    def forget(self) -> None:
        """Paint it anew the next time: something of it has changed."""
        self._layer = QPixmap()

    def draw(self, painter: QPainter) -> None:
        """Draw the layer; into a file of lines it is painted as lines, not as a picture."""
        if painter.paintEngine().type() != QPaintEngine.Type.Raster:
            painter.save()
            self._paint(painter)
            painter.restore()
            return
        ratio = self._widget.devicePixelRatio()
        size = self._widget.size() * ratio
        if self._layer.size() != size:
            self._layer = QPixmap(size)
            self._layer.setDevicePixelRatio(ratio)
            self._layer.fill(Qt.GlobalColor.transparent)
            own = QPainter(self._layer)
            own.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._paint(own)
            own.end()
        painter.drawPixmap(0, 0, self._layer)
