"""A recording from end to end: elevation over time, its repetitions, and where one looks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from analysis.trial import Trial
from ui.desktop.look import BAND, GOOD, GROUND, INK, PAPER, QUIET, font
from ui.desktop.words import tr

HEIGHT = 84
MARGIN = 12.0
TOP_DEG = 180.0
HEAD = 16.0
"""Room above the curve for the numbers of the repetitions."""


class Scrubber(QWidget):
    """Shows elevation over time; clicked or dragged it says where to look.

    Args:
        trial: The recording.
    """

    moved = Signal(float)
    """Seconds on the series, wherever the mouse points with its button down."""

    def __init__(self, trial: Trial) -> None:
        super().__init__()
        self._trial = trial
        self._from_s = float(trial.series.time_s[0])
        self._to_s = max(float(trial.series.time_s[-1]), self._from_s + 1e-3)
        self._at_s = self._from_s
        self._curve, self._for_width = QPolygonF(), -1
        self.setAccessibleName(tr("place in the recording"))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def sizeHint(self) -> QSize:
        return QSize(600, HEIGHT)

    def show_place(self, time_s: float) -> None:
        """Draw where one looks."""
        if time_s != self._at_s:
            self._at_s = time_s
            self.setAccessibleDescription(f"{time_s - self._from_s:.1f} s")
            self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._point(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._point(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), PAPER)
        painter.setFont(font(9))
        self._draw_repetitions(painter)
        self._draw_curve(painter)
        self._draw_place(painter)

    def _point(self, event: QMouseEvent) -> None:
        share = (event.position().x() - MARGIN) / max(1.0, self.width() - 2 * MARGIN)
        self.moved.emit(self._from_s + min(1.0, max(0.0, share)) * (self._to_s - self._from_s))

    def _x(self, time_s: float) -> float:
        share = (time_s - self._from_s) / (self._to_s - self._from_s)
        return MARGIN + share * (self.width() - 2 * MARGIN)

    def _draw_repetitions(self, painter: QPainter) -> None:
        time_s = self._trial.series.time_s
        last = len(time_s) - 1
        for repetition in self._trial.repetitions:
            span = repetition.spans.movement
            left, right = self._x(time_s[span.start]), self._x(time_s[min(span.stop, last)])
            painter.fillRect(QRectF(left, HEAD, right - left, self.height() - HEAD), BAND)
            painter.setPen(INK)
            number = str(repetition.number)
            painter.drawText(QRectF(left, 0.0, max(18.0, right - left), HEAD),
                             Qt.AlignmentFlag.AlignCenter, number)  # fmt: skip

    def _draw_curve(self, painter: QPainter) -> None:
        if self._for_width != self.width():
            self._curve, self._for_width = self._polyline(), self.width()
        painter.setPen(QPen(GROUND, 1))
        base = self.height() - 1.0
        painter.drawLine(QPointF(MARGIN, base), QPointF(self.width() - MARGIN, base))
        painter.setPen(QPen(INK, 1))
        painter.drawPolyline(self._curve)

    def _polyline(self) -> QPolygonF:
        """Return the highest elevation of each column of pixels; unknown ones lie at the bottom."""
        columns = max(2, int(self.width() - 2 * MARGIN))
        highest = highest_in_columns(np.rad2deg(self._trial.series.elevation_rad), columns)
        room = self.height() - HEAD - 2.0
        x = MARGIN + np.arange(len(highest)) * (columns / len(highest))
        y = self.height() - 1.0 - room * np.clip(highest, 0.0, TOP_DEG) / TOP_DEG
        return QPolygonF([QPointF(*point) for point in zip(x, y, strict=True)])

    def _draw_place(self, painter: QPainter) -> None:
        x = self._x(self._at_s)
        painter.setPen(QPen(GOOD, 2))
        painter.drawLine(QPointF(x, 0.0), QPointF(x, float(self.height())))
        painter.setPen(QUIET)
        text = f"{self._at_s - self._from_s:.1f} s"
        late = x > self.width() - 70.0
        where = QRectF(x - 66.0 if late else x + 4.0, HEAD, 62.0, 16.0)
        side = Qt.AlignmentFlag.AlignRight if late else Qt.AlignmentFlag.AlignLeft
        painter.drawText(where, side, text)


def highest_in_columns(values: NDArray[np.float64], columns: int) -> NDArray[np.float64]:
    """Return the largest of each of *columns* equal stretches; 0 where nothing is known."""
    edges = np.unique(np.linspace(0, len(values), min(columns, len(values)) + 1).astype(int)[:-1])
    return np.asarray(np.nan_to_num(np.fmax.reduceat(values, edges)))
