"""A gauge: a value on a scale with what is allowed shaded, its number and a word."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from ui.desktop.look import BAD, BAND, GOOD, INK, LINE, QUIET, font

LEFT = Qt.AlignmentFlag.AlignLeft
BAR_TOP, BAR_HEIGHT, MARGIN = 46.0, 18.0, 18.0


@dataclass(frozen=True, slots=True)
class Scale:
    """What a gauge shows.

    Attributes:
        title: Name of the quantity.
        unit: Behind the number.
        low: Left end.
        high: Right end.
        allowed: From and to, shaded.
        ticks: Where numbers stand.
        decimals: Of the number.
        signed: Show + too.
    """

    title: str
    unit: str
    low: float
    high: float
    allowed: tuple[float, float]
    ticks: tuple[float, ...]
    decimals: int = 0
    signed: bool = False


class Gauge(QWidget):
    """One horizontal gauge."""

    def __init__(self, scale: Scale) -> None:
        super().__init__()
        self._scale = scale
        self._value = math.nan
        self._word = ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        return QSize(320, 88)

    def show_value(self, value: float, word: str) -> None:
        """Show a value (NaN: none) and what it means in a word."""
        self._value, self._word = value, word
        self.update()

    @property
    def text(self) -> str:
        """The number as shown."""
        if not math.isfinite(self._value):
            return "—"
        sign = "+" if self._scale.signed else ""
        number = f"{round(self._value, self._scale.decimals) + 0.0:{sign}.{self._scale.decimals}f}"
        space = "" if self._scale.unit.startswith("°") else " "
        return f"{number.replace('-', '−')}{space}{self._scale.unit}"

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_words(painter)
        self._paint_scale(painter)
        if math.isfinite(self._value):
            self._paint_needle(painter)
        painter.end()

    def _paint_words(self, painter: QPainter) -> None:
        head = QRectF(MARGIN, 4, self.width() - 2 * MARGIN, 36)
        painter.setPen(INK)
        painter.setFont(font(11))
        painter.drawText(
            head, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop, self._scale.title
        )
        painter.setFont(font(17, bold=True))
        painter.drawText(head, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop, self.text)
        painter.setFont(font(10, bold=self._is_bad()))
        painter.setPen(BAD if self._is_bad() else QUIET)
        painter.drawText(
            head, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignBottom, self._word
        )

    def _paint_scale(self, painter: QPainter) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(LINE))
        painter.drawRect(self._bar(self._scale.low, self._scale.high))
        painter.setBrush(QBrush(BAND))
        painter.drawRect(self._bar(*self._scale.allowed))
        painter.setPen(QPen(QUIET, 1))
        painter.setFont(font(8))
        for tick in self._scale.ticks:
            x = self._x(tick)
            painter.drawLine(QPointF(x, BAR_TOP + BAR_HEIGHT), QPointF(x, BAR_TOP + BAR_HEIGHT + 3))
            box = QRectF(x - 30, BAR_TOP + BAR_HEIGHT + 3, 60, 14)
            painter.drawText(box, Qt.AlignmentFlag.AlignHCenter, f"{tick:g}".replace("-", "−"))

    def _paint_needle(self, painter: QPainter) -> None:
        x = self._x(self._value)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(BAD if self._is_bad() else GOOD))
        painter.drawRect(QRectF(x - 2, BAR_TOP - 2, 4, BAR_HEIGHT + 4))
        tip = [QPointF(x, BAR_TOP), QPointF(x - 6, BAR_TOP - 8), QPointF(x + 6, BAR_TOP - 8)]
        painter.drawPolygon(QPolygonF(tip))

    def _is_bad(self) -> bool:
        low, high = self._scale.allowed
        return math.isfinite(self._value) and not low <= self._value <= high

    def _bar(self, low: float, high: float) -> QRectF:
        left, right = self._x(low), self._x(high)
        return QRectF(left, BAR_TOP, right - left, BAR_HEIGHT)

    def _x(self, value: float) -> float:
        share = (value - self._scale.low) / (self._scale.high - self._scale.low)
        return MARGIN + min(1.0, max(0.0, share)) * (self.width() - 2 * MARGIN)
