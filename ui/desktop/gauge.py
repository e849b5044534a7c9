"""A gauge: a value on a scale with what is allowed shaded, its number and a word."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from ui.desktop.look import BAD, BAND, GOOD, GROUND, INK, QUIET, faded, font, text_scale
from ui.desktop.words import tr
from ui.numbers import shown

UP_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop
UP_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop
DOWN_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignBottom
BAR_TOP, BAR_HEIGHT, MARGIN = 51.0, 16.0, 16.0
DOWN_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignBottom
BRACKET = 4.0
"""So far the experts' bracket stands out of the bar."""
TIP = 7.0
"""Height of the pointer's tip, which must stay clear of the words above it."""


@dataclass(frozen=True, slots=True)
class Scale:
    """What a gauge shows.

    Attributes:
        title: Name of the quantity.
        unit: Behind the number, with its space.
        low: Left end.
        high: Right end.
        ticks: Where numbers stand.
        allowed: From and to, shaded; None if there is nothing to keep to.
    """

    title: str
    unit: str
    low: float
    high: float
    ticks: tuple[float, ...]
    allowed: tuple[float, float] | None = None


def number(value: float, unit: str, *, sign: str = "") -> str:
    """Return a number as gauges show it, — if there is none."""
    return f"{shown(value, 0, sign=sign)}{unit}" if math.isfinite(value) else "—"


class Gauge(QWidget):
    """One horizontal gauge."""

    def __init__(self, scale: Scale) -> None:
        super().__init__()
        self._scale = scale
        self._value = math.nan
        self._word = ""
        self._bad = False
        self._spread: tuple[float, float] | None = None
        self._experts: tuple[float, float] | None = None
        self.setAccessibleName(tr(scale.title))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        return QSize(300, 88) * text_scale()

    def minimumSizeHint(self) -> QSize:
        return QSize(200, 88) * text_scale()

    def show_value(
        self,
        value: float,
        word: str,
        *,
        bad: bool,
        spread: tuple[float, float] | None = None,
    ) -> None:
        """Show a value (NaN: none), what it means in a word, whether that is bad, its spread."""
        self._value, self._word, self._bad, self._spread = value, word, bad, spread
        self.update()

    def show_experts(self, edges: tuple[float, float] | None) -> None:
        """Bracket where the experts' band lies here; None takes the bracket away."""
        self._experts = edges
        self.update()

    @property
    def experts(self) -> tuple[float, float] | None:
        """The experts' edges as shown."""
        return self._experts

    @property
    def text(self) -> str:
        """The number as shown."""
        return number(self._value, self._scale.unit)

    @property
    def word(self) -> str:
        """The word as shown."""
        return self._word

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.scale(text_scale(), text_scale())
        self._paint_words(painter)
        self._paint_scale(painter)
        if self._spread is not None:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QBrush(faded(BAD if self._bad else GOOD, 90)))
            painter.drawRect(self._bar(*self._spread))
        if self._experts is not None:
            self._paint_experts(painter, *self._experts)
        if math.isfinite(self._value):
            self._paint_needle(painter)
        painter.end()

    def _paint_words(self, painter: QPainter) -> None:
        head = QRectF(MARGIN, 4, self._wide - 2 * MARGIN, 37)
        painter.setPen(INK)
        painter.setFont(font(11, scaled=False))
        painter.drawText(head, UP_LEFT, tr(self._scale.title))
        painter.setFont(font(17, bold=True, scaled=False))
        painter.drawText(head, UP_RIGHT, self.text)
        painter.setFont(font(10, bold=self._bad, scaled=False))
        painter.setPen(BAD if self._bad else QUIET)
        word = tr(self._word)
        painter.drawText(head, DOWN_LEFT, f"▲ {word}" if self._bad else word)

    def _paint_scale(self, painter: QPainter) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(GROUND))
        painter.drawRect(self._bar(self._scale.low, self._scale.high))
        if self._scale.allowed is not None:
            painter.setBrush(QBrush(BAND))
            painter.drawRect(self._bar(*self._scale.allowed))
        painter.setPen(QPen(QUIET, 1))
        painter.setFont(font(8, scaled=False))
        for tick in self._scale.ticks:
            x = self._x(tick)
            below = BAR_TOP + BAR_HEIGHT
            painter.drawLine(QPointF(x, below), QPointF(x, below + 3))
            box = QRectF(x - 30, below + 3, 60, 15)
            painter.drawText(box, Qt.AlignmentFlag.AlignHCenter, shown(float(tick), 0))

    def _paint_experts(self, painter: QPainter, low: float, high: float) -> None:
        """Paint a bracket as dotted as the experts' outline on the map."""
        painter.setPen(QPen(INK, 1, Qt.PenStyle.DotLine))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(self._bar(low, high).adjusted(0.0, -BRACKET, 0.0, BRACKET))
        painter.setFont(font(8, scaled=False))
        head = QRectF(MARGIN, 4, self._wide - 2 * MARGIN, 37)
        painter.setPen(QUIET)
        painter.drawText(head, DOWN_RIGHT, tr("dotted: experts"))

    def _paint_needle(self, painter: QPainter) -> None:
        x = self._x(self._value)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(BAD if self._bad else GOOD))
        painter.drawRect(QRectF(x - 2, BAR_TOP - 2, 4, BAR_HEIGHT + 4))
        top = BAR_TOP - TIP
        tip = [QPointF(x, BAR_TOP), QPointF(x - 6, top), QPointF(x + 6, top)]
        painter.drawPolygon(QPolygonF(tip))

    def _bar(self, low: float, high: float) -> QRectF:
        left, right = self._x(low), self._x(high)
        return QRectF(left, BAR_TOP, right - left, BAR_HEIGHT)

    @property
    def _wide(self) -> float:
        """Width in what the painter, scaled with the text, takes for a pixel."""
        return self.width() / text_scale()

    def _x(self, value: float) -> float:
        share = (value - self._scale.low) / (self._scale.high - self._scale.low)
        return MARGIN + min(1.0, max(0.0, share)) * (self._wide - 2 * MARGIN)
