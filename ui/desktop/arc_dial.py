"""The arc of the movement: where the arm is, and how well each step was held.

The outer ring is the way up, the inner one the way down. A good step is a full block, a poor one
is hatched and stands inward, one that nobody can judge is an empty outline.
"""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from analysis.said import listed, said
from analysis.target import Target
from ui.desktop import look as colours
from ui.desktop.gauge import MARGIN
from ui.desktop.look import faded, font, text_scale
from ui.desktop.still import Still
from ui.desktop.words import tr
from ui.live.arc import STEP_DEG, STEPS, TOP_DEG, ArcLook, Hold
from ui.live.phases import MovementPhase
from ui.numbers import shown

TICKS_DEG = (0, 30, 60, 90, 120, 150, 180)
UP_RING, DOWN_RING, THICK = 1.0, 0.78, 0.17
"""Of the outer radius: where the rings end, and how thick they are."""
GAP_DEG = 0.8
MIDDLE = Qt.AlignmentFlag.AlignCenter
UP_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop
UP_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop


class ArcDial(QWidget):
    """Shows elevation, phase and the arc done.

    Args:
        target: Has the speed limit.
        side: Of the rig; both look alike.
    """

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self._limit_deg_s = target.elevation_speed_limit_deg_s
        self._look: ArcLook | None = None
        self._ground = Still(self, self._paint_ground)
        self.setAccessibleName(tr("arc done, and how it was held"))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:
        return QSize(320, 200) * text_scale()

    def minimumSizeHint(self) -> QSize:
        return QSize(200, 130)

    @property
    def text(self) -> str:
        """The elevation as shown."""
        look = self._look
        known = look is not None and not math.isnan(look.elevation_deg)
        return f"{shown(look.elevation_deg, 0)}°" if look is not None and known else "—"

    @property
    def word(self) -> str:
        """Phase and count, or that it goes too fast."""
        look = self._look
        if look is None:
            return ""
        if look.too_fast:
            return "▲ " + tr("too fast")
        done = said("{} done", look.repetitions) if look.repetitions else ""
        return tr(listed(" · ", (look.word, done)))

    def show_look(self, look: ArcLook) -> None:
        """Show one look."""
        self._look = look
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._ground.draw(painter)
        if self._look is not None:
            self._paint_steps(painter, self._look)
            self._paint_arm(painter, self._look)
        self._paint_words(painter)
        painter.end()

    def _paint_ground(self, painter: QPainter) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(colours.GROUND))
        for ring in (UP_RING, DOWN_RING):
            painter.drawPath(self._piece(ring, 0.0, TOP_DEG))
        painter.setFont(font(8))
        for tick in TICKS_DEG:
            outer, label = self._at(tick, 1.03), self._at(tick, 1.12)
            painter.setPen(QPen(colours.QUIET, 1))
            painter.drawLine(self._at(tick, 1.0), outer)
            wide, high = 40 * text_scale(), 16 * text_scale()
            box = QRectF(label.x() - wide / 2, label.y() - high / 2, wide, high)
            painter.drawText(box, MIDDLE, f"{tick}°")

    def _paint_steps(self, painter: QPainter, look: ArcLook) -> None:
        for ring, holds in ((UP_RING, look.raising), (DOWN_RING, look.lowering)):
            for step, hold in zip(range(STEPS), holds, strict=True):
                if hold is not Hold.NOT_YET:
                    self._paint_step(painter, ring, step * STEP_DEG, hold)

    def _paint_step(self, painter: QPainter, ring: float, from_deg: float, hold: Hold) -> None:
        good = hold is Hold.GOOD
        top = ring if good else ring - 0.05
        piece = self._piece(top, from_deg + GAP_DEG / 2, from_deg + STEP_DEG - GAP_DEG / 2)
        if hold is Hold.UNKNOWN:
            painter.setPen(QPen(colours.QUIET, 1, Qt.PenStyle.DotLine))
            painter.setBrush(Qt.BrushStyle.NoBrush)
        elif good:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QBrush(colours.GOOD))
        else:
            painter.setPen(QPen(colours.BAD, 1))
            painter.setBrush(QBrush(faded(colours.BAD, 220), Qt.BrushStyle.Dense4Pattern))
        painter.drawPath(piece)

    def _paint_arm(self, painter: QPainter, look: ArcLook) -> None:
        if math.isnan(look.elevation_deg):
            return
        at = min(TOP_DEG, max(0.0, look.elevation_deg))
        painter.setPen(QPen(colours.BAD if look.too_fast else colours.INK, 3))
        painter.drawLine(self._at(at, 0.5), self._at(at, 1.04))

    def _paint_words(self, painter: QPainter) -> None:
        look, width = self._look, float(self.width())
        side = MARGIN * text_scale()
        head = QRectF(side, 2, width - 2 * side, 42 * text_scale())
        painter.setPen(colours.INK)
        painter.setFont(font(11))
        painter.drawText(head, UP_LEFT, tr("Elevation"))
        painter.setFont(font(17, bold=True))
        painter.drawText(head, UP_RIGHT, self.text)
        painter.setFont(font(10, bold=bool(look and look.too_fast)))
        painter.setPen(colours.BAD if look and look.too_fast else colours.QUIET)
        painter.drawText(head.translated(0, 19 * text_scale()), UP_LEFT, self.word)
        painter.setFont(font(9))
        painter.setPen(colours.QUIET)
        middle, unit = self._middle(), self._unit()
        for text, y, colour in self._legend(look):
            painter.setPen(colour)
            box = QRectF(middle.x() - 0.55 * unit, middle.y() - y * unit, 1.1 * unit, 0.17 * unit)
            painter.drawText(box, MIDDLE, text)

    def _legend(self, look: ArcLook | None) -> list[tuple[str, float, object]]:
        if look is None or math.isnan(look.elevation_deg):
            return []
        raising = look.phase is not MovementPhase.LOWER
        way = tr("outer ring: up") if raising else tr("inner ring: down")
        return [(way, 0.17, colours.QUIET)]

    def _piece(self, top: float, from_deg: float, to_deg: float) -> QPainterPath:
        path = QPainterPath()
        steps = max(2, math.ceil((to_deg - from_deg) / 3.0))
        rim = [from_deg + (to_deg - from_deg) * i / steps for i in range(steps + 1)]
        path.moveTo(self._at(rim[0], top))
        for angle in rim[1:]:
            path.lineTo(self._at(angle, top))
        for angle in reversed(rim):
            path.lineTo(self._at(angle, top - THICK))
        path.closeSubpath()
        return path

    def _at(self, elevation_deg: float, share: float) -> QPointF:
        """Return a place on the dial: 0° at the left, 180° at the right, the top of the arc up."""
        angle = math.radians(elevation_deg)
        middle, unit = self._middle(), self._unit()
        return QPointF(
            middle.x() - share * unit * math.cos(angle), middle.y() - share * unit * math.sin(angle)
        )

    def _middle(self) -> QPointF:
        return QPointF(self.width() / 2, self.height() - 16.0 * text_scale())

    def _unit(self) -> float:
        """Return the outer radius in pixels."""
        high = self.height() - 16.0 * text_scale() - 58.0 * text_scale()
        wide = self.width() / 2 - 44.0 * text_scale()
        return max(20.0, min(high, wide))
