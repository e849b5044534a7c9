"""The push laid over a drawn shoulder: what the two anatomical views share.

Both are drawn about the middle of the humeral head in lengths of its radius, y upward, and turned
into pixels at the end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from analysis.target import Target
from ui.desktop import look as colours
from ui.desktop.look import faded, font, text_scale
from ui.desktop.still import Still
from ui.desktop.words import tr
from ui.live.anatomy import PlaneLook
from ui.live.push import PushState
from ui.numbers import shown

Place = tuple[float, float]

WIDE = 2.75
"""Half the picture, in radii of the head."""
REACH = 2.2
HEAD_PX, FOOT_PX = 26.0, 22.0
COVERAGE = 2.0
"""The fan about the arrow is twice the standard uncertainty to each side: about 95 %."""
SHARE_DIM = 0.45
UP_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop
UP_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop
MIDDLE = Qt.AlignmentFlag.AlignCenter


class BodyView(QWidget):
    """Draws a push in one plane; a subclass says what lies around it and which way angles go.

    Args:
        title: Of the view.
        name: For a screen reader.
        target: What lies around the push follows it.
    """

    def __init__(self, title: str, name: str, target: Target) -> None:
        super().__init__()
        self._target = target
        self._title = title
        self._look: PlaneLook | None = None
        self._still = Still(self, self._paint_still)
        self.setAccessibleName(name)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:
        return QSize(230, 230) * text_scale()

    def minimumSizeHint(self) -> QSize:
        return QSize(150, 150)

    @property
    def text(self) -> str:
        """The angle as shown."""
        look = self._look
        if look is None or math.isnan(look.angle_deg):
            return "—"
        return f"{shown(look.angle_deg, 0, sign=self.sign)}° ± {shown(look.u_deg, 1)}°"

    @property
    def word(self) -> str:
        """What the angle means, or why there is none."""
        return self._look.word if self._look else ""

    sign = ""
    """``+`` where an angle shows its sign."""

    def show_look(self, look: PlaneLook) -> None:
        """Show one look; what lies around is painted anew where the target has moved."""
        if look.target != self._target:
            self._target = look.target
            self._still.forget()
        self._look = look
        self.update()

    def around(self, painter: QPainter) -> None:
        """Paint what never moves, under the push."""
        raise NotImplementedError

    def page(self, angle_deg: float) -> Place:
        """Return where an angle points on the page, as a unit vector."""
        raise NotImplementedError

    def look_again(self) -> None:
        """Paint everything anew: the viewpoint has changed."""
        self._still.forget()
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        look = self._look
        known = look is not None and not math.isnan(look.angle_deg)
        gone = look is None or look.state in (PushState.NO_DATA, PushState.NO_ZERO)
        painter.setOpacity(SHARE_DIM if gone else 1.0)
        self._still.draw(painter)
        painter.setOpacity(1.0)
        if look is not None and known:
            self._paint_push(painter, look)
        elif look is not None:
            self._paint_state(painter, look.state)
        self._paint_words(painter)
        painter.end()

    def _paint_still(self, painter: QPainter) -> None:
        painter.setClipRect(QRectF(0, self._head(), self.width(), self.height()))
        self.around(painter)

    def _paint_push(self, painter: QPainter, look: PlaneLook) -> None:
        colour = colours.GOOD if look.inside else colours.BAD
        half = max(0.5, COVERAGE * look.u_deg)
        self.fan(painter, look.angle_deg - half, look.angle_deg + half, REACH, faded(colour, 80))
        x, y = self.page(look.angle_deg)
        length = 1.0 + look.reach * (REACH - 1.0)
        self.line(painter, [(-x, -y), (length * x, length * y)], QPen(colour, 4))
        self.shape(painter, _barb((length * x, length * y), (x, y)), colour, solid=look.inside)
        # The heel of the hand lies flat on the head, across the push.
        hand = [(-1.06, -0.55), (-1.06, 0.55), (-1.42, 0.42), (-1.42, -0.42)]
        self.shape(painter, [(a * x - b * y, a * y + b * x) for a, b in hand], colour, solid=True)

    def _paint_state(self, painter: QPainter, state: PushState) -> None:
        bad = state is PushState.SATURATED
        text = f"▲ {tr(state.value)}" if bad else tr(state.value)
        painter.setFont(font(11, bold=True))
        box = painter.fontMetrics().boundingRect(text).adjusted(-8, -4, 8, 4).toRectF()
        middle = self.pixel((0.0, 0.0))
        box.moveCenter(QPointF(self.width() / 2, middle.y()))
        painter.setPen(QPen(colours.BAD if bad else colours.QUIET, 1.5))
        painter.setBrush(QBrush(colours.WARM if bad else colours.PAPER))
        painter.drawRoundedRect(box, 4, 4)
        painter.setPen(colours.BAD if bad else colours.INK)
        painter.drawText(box, MIDDLE, text)

    def _paint_words(self, painter: QPainter) -> None:
        width, height = float(self.width()), float(self.height())
        painter.setPen(colours.INK)
        painter.setFont(font(10))
        painter.drawText(QRectF(2, 2, width - 4, self._head()), UP_LEFT, self._title)
        room = width - 14 - painter.fontMetrics().horizontalAdvance(self._title)
        painter.setFont(font(11, bold=True))
        text = self.text
        if painter.fontMetrics().horizontalAdvance(text) > room:
            text = text.split(" ")[0]  # without its uncertainty, which the fan shows anyway
        painter.drawText(QRectF(2, 1, width - 4, self._head()), UP_RIGHT, text)
        look = self._look
        if look is not None and not math.isnan(look.angle_deg):
            foot = FOOT_PX * text_scale()
            painter.setPen(colours.QUIET if look.inside else colours.BAD)
            painter.setFont(font(10, bold=not look.inside))
            word = tr(look.word) if look.inside else f"▲ {tr(look.word)}"
            painter.drawText(QRectF(0, height - foot, width, foot), MIDDLE, word)

    def fan(
        self,
        painter: QPainter,
        low_deg: float,
        high_deg: float,
        reach: float,
        fill: QColor | QBrush,
    ) -> None:
        """Paint a fan from the middle of the head between two angles."""
        steps = max(2, math.ceil(abs(high_deg - low_deg) / 2.0))
        rim = [low_deg + (high_deg - low_deg) * i / steps for i in range(steps + 1)]
        corners = [(0.0, 0.0)] + [
            (reach * x, reach * y) for x, y in (self.page(angle) for angle in rim)
        ]
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(fill))
        painter.drawPolygon(QPolygonF([self.pixel(corner) for corner in corners]))

    def line(self, painter: QPainter, places: Sequence[Place], pen: QPen) -> None:
        """Draw a line through places."""
        painter.setPen(pen)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPolyline(QPolygonF([self.pixel(place) for place in places]))

    def shape(
        self, painter: QPainter, corners: Sequence[Place], colour: QColor, *, solid: bool
    ) -> None:
        """Draw a shape filled with its colour, or with paper inside its outline."""
        painter.setPen(QPen(colour, 1.5))
        painter.setBrush(QBrush(colour if solid else colours.PAPER))
        painter.drawPolygon(QPolygonF([self.pixel(corner) for corner in corners]))

    def disc(
        self, painter: QPainter, middle: Place, radius: float, pen: QPen, fill: QColor
    ) -> None:
        """Draw a disc."""
        painter.setPen(pen)
        painter.setBrush(QBrush(fill))
        painter.drawEllipse(self.pixel(middle), radius * self._unit(), radius * self._unit())

    def label(self, painter: QPainter, text: str, place: Place, colour: QColor) -> None:
        """Write a word about a place, kept inside the picture."""
        painter.setFont(font(9))
        painter.setPen(colour)
        box = painter.fontMetrics().boundingRect(text).adjusted(-2, -1, 2, 1).toRectF()
        box.moveCenter(self.pixel(place))
        box.moveLeft(min(max(1.0, box.left()), self.width() - box.width() - 1.0))
        painter.drawText(box, MIDDLE, text)

    def pixel(self, place: Place) -> QPointF:
        """Return where a place lies in the widget."""
        foot = FOOT_PX * text_scale()
        middle = self._head() + (self.height() - self._head() - foot) / 2
        return QPointF(self.width() / 2 + place[0] * self._unit(), middle - place[1] * self._unit())

    def _unit(self) -> float:
        """Return the radius of the head in pixels."""
        room = self.height() - self._head() - FOOT_PX * text_scale()
        return max(4.0, min(float(self.width()), room) / (2 * WIDE))

    def _head(self) -> float:
        return HEAD_PX * text_scale()


def _barb(tip: Place, along: Place) -> list[Place]:
    """Return the head of an arrow with its tip a little beyond *tip*."""
    (x, y), (a, b) = tip, along
    return [
        (x + 0.34 * a, y + 0.34 * b),
        (x - 0.12 * a - 0.24 * b, y - 0.12 * b + 0.24 * a),
        (x - 0.12 * a + 0.24 * b, y - 0.12 * b - 0.24 * a),
    ]
