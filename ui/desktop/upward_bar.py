"""The superior component as a signed bar: up is up, and the limit stands across it."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from analysis.target import Target
from ui.desktop.gauge import number
from ui.desktop.look import BAD, BAND, GOOD, INK, QUIET, faded, font, text_scale
from ui.desktop.still import Still
from ui.desktop.words import tr
from ui.live.superior import SuperiorLook
from ui.numbers import shown

SPAN_DEG = 20.0
TICKS_DEG = (-20.0, -10.0, 0.0, 10.0, 20.0)
HEAD, FOOT, BAR_LEFT, BAR_WIDTH = 58.0, 62.0, 44.0, 38.0
MIDDLE = Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop
BESIDE = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter


class UpwardBar(QWidget):
    """Shows the superior component.

    Args:
        target: Has the limit.
        side: Of the rig; both look alike.
    """

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self._limit_deg = target.superior_limit_deg
        self._look: SuperiorLook | None = None
        self._scale = Still(self, self._paint_scale)
        self.setAccessibleName(tr("superior component"))
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:
        return QSize(118, 400) * text_scale()

    def minimumSizeHint(self) -> QSize:
        return QSize(118, 220) * text_scale()

    @property
    def text(self) -> str:
        """The angle as shown."""
        return number(self._look.angle_deg if self._look else math.nan, "°", sign="+")

    def show_look(self, look: SuperiorLook) -> None:
        """Show one look."""
        self._look = look
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._scale.draw(painter)
        painter.scale(text_scale(), text_scale())
        known = self._look is not None and math.isfinite(self._look.angle_deg)
        if self._look is not None and known:
            self._paint_bar(painter, self._look)
        self._paint_words(painter)
        painter.end()

    def _paint_scale(self, painter: QPainter) -> None:
        painter.scale(text_scale(), text_scale())
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(BAND))
        painter.drawRect(self._between(-SPAN_DEG, self._limit_deg))
        painter.setBrush(QBrush(faded(BAD, 70), Qt.BrushStyle.BDiagPattern))
        painter.drawRect(self._between(self._limit_deg, SPAN_DEG))
        painter.setFont(font(8, scaled=False))
        for tick in TICKS_DEG:
            y = self._y(tick)
            painter.setPen(QPen(QUIET, 1))
            painter.drawLine(QPointF(BAR_LEFT - 4, y), QPointF(BAR_LEFT, y))
            text = shown(tick, 0, sign="+" if tick else "")
            painter.drawText(QRectF(0, y - 8, BAR_LEFT - 7, 16), BESIDE, text)

    def _paint_bar(self, painter: QPainter, look: SuperiorLook) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(BAD if look.over else GOOD))
        bar = self._between(0.0, look.angle_deg)
        painter.drawRect(bar.adjusted(9, 0, -9, 0))
        y = self._y(look.angle_deg)
        painter.drawRect(QRectF(BAR_LEFT, y - 2, BAR_WIDTH, 4))

    def _paint_words(self, painter: QPainter) -> None:
        look, width = self._look, self.width() / text_scale()
        painter.setPen(QPen(INK, 1))
        zero, limit = self._y(0.0), self._y(self._limit_deg)
        painter.drawLine(QPointF(BAR_LEFT - 4, zero), QPointF(BAR_LEFT + BAR_WIDTH + 4, zero))
        painter.setFont(font(11, scaled=False))
        painter.drawText(QRectF(0, 4, width, 20), MIDDLE, tr("Upward"))
        painter.setFont(font(17, bold=True, scaled=False))
        painter.drawText(QRectF(0, 24, width, 30), MIDDLE, self.text)
        painter.setPen(QPen(BAD, 1))
        painter.drawLine(QPointF(BAR_LEFT - 4, limit), QPointF(BAR_LEFT + BAR_WIDTH + 4, limit))
        painter.setFont(font(8, scaled=False))
        painter.drawText(QPointF(BAR_LEFT + BAR_WIDTH + 7, limit - 3), tr("limit"))
        if look is None or not look.word:
            return
        foot = self._high - FOOT + 8
        painter.setPen(BAD if look.over else QUIET)
        painter.setFont(font(10, bold=look.over, scaled=False))
        painter.drawText(QRectF(0, foot, width, 18), MIDDLE, tr(look.word))
        painter.setPen(QUIET)
        painter.setFont(font(9, scaled=False))
        force = f"± {shown(look.u_deg, 1)}° · {shown(look.force_n, 1, sign='+')} N"
        painter.drawText(QRectF(0, foot + 20, width, 18), MIDDLE, force)

    @property
    def _high(self) -> float:
        """Height in what the painter, scaled with the text, takes for a pixel."""
        return self.height() / text_scale()

    def _between(self, low_deg: float, high_deg: float) -> QRectF:
        top, bottom = sorted((self._y(low_deg), self._y(high_deg)))
        return QRectF(BAR_LEFT, top, BAR_WIDTH, bottom - top)

    def _y(self, angle_deg: float) -> float:
        share = (min(SPAN_DEG, max(-SPAN_DEG, angle_deg)) + SPAN_DEG) / (2 * SPAN_DEG)
        return HEAD + 10 + (1.0 - share) * (self._high - HEAD - FOOT - 10)
