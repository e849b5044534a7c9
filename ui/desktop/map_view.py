"""The target map: where the push goes, seen along the target."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QBrush, QColor, QPen, QPolygonF, QResizeEvent
from PySide6.QtWidgets import QGraphicsEllipseItem, QGraphicsPolygonItem

from analysis.said import said
from analysis.target import Target
from ui.desktop.look import BAD, BAND, GOOD, INK, LINE, PAPER, QUIET, faded, font, text_scale
from ui.desktop.words import tr
from ui.live.push import PushState
from ui.live.target_map import (
    SHOULDERS,
    SPAN_DEG,
    TRAIL_S,
    TRAIL_STEP_S,
    Stand,
    TargetMap,
    allowed_outline,
    lateral_is_right,
    superior_limit_line,
)

RINGS_DEG = (10.0, 20.0, 30.0)
COVERAGE = 2.0
"""The ellipse has twice the standard uncertainty: about 95 %."""
SIDES_DEG = (0.84 * SPAN_DEG, -0.15 * SPAN_DEG)
"""Below the middle line, where a push that is only too far to one side would hide them."""
CROSS_DEG = 0.8
NARROW_PX = 400
"""Below it the caption tells no more than from where it is seen, and words make room."""
CAPTION_DEG = -1.13 * SPAN_DEG
NOTHING = QBrush(Qt.BrushStyle.NoBrush)
NO_LINE = QPen(Qt.PenStyle.NoPen)


class MapView(pg.PlotWidget):
    """Draws direction, its uncertainty and its trail.

    Args:
        target: Gives the cone and the superior limit.
        side: Of the rig.
    """

    def __init__(self, target: Target, side: str) -> None:
        super().__init__(background=PAPER)
        self._side = side
        self._target = target
        self._toward: NDArray[np.float64] | None = None
        self._stand = Stand.BEHIND
        self._experts = False
        self._fading = _fading_brushes()
        self.setAccessibleName(tr("target map"))
        self._draw_ground(target)
        self._draw_words()
        # Without cached pictures of the symbols they stay lines in a saved picture.
        self._corridor = self.plot(pen=pg.mkPen(INK, width=1, style=Qt.PenStyle.DotLine))
        self._trail = pg.ScatterPlotItem(pen=None, pxMode=True, useCache=False)
        self._ellipse = QGraphicsEllipseItem()
        self._ellipse.setPen(NO_LINE)
        self._point = pg.ScatterPlotItem(size=20, pen=pg.mkPen(INK, width=1), useCache=False)
        for item in (self._trail, self._ellipse, self._point):
            self.addItem(item)
        self._word = self._label("", 0.0, 0.0, size=19, bold=True, fill=faded(PAPER, 235))
        self._turn()

    @property
    def word(self) -> str:
        """The state, as written over the map; empty while there is a direction."""
        return str(self._word.toPlainText())

    @property
    def sides(self) -> tuple[str, str]:
        """What stands at the left and at the right of the map."""
        return self._left.toPlainText(), self._right.toPlainText()

    def look_from(self, stand: Stand) -> None:
        """Show it as it is seen from there."""
        self._stand = stand
        self._turn()

    def show_look(self, look: TargetMap) -> None:
        """Draw one look."""
        self._lay_ground(look.toward)
        outline = look.corridor_deg
        if len(outline) and not self._experts:
            self._experts = True
            self._turn()  # the caption names what the dotted line is
        self._corridor.setData(np.append(outline[:, 0], outline[:1, 0]),
                               np.append(outline[:, 1], outline[:1, 1]))  # fmt: skip
        known = look.state is PushState.DIRECTION
        self._word.setText("" if known else tr(look.state.value))
        self._word.setVisible(not known)
        self._draw_trail(look)
        self._ellipse.setVisible(known)
        self._point.setVisible(known)
        if known:
            self._draw_point(look)

    def _draw_point(self, look: TargetMap) -> None:
        x, y = look.point_deg
        half = COVERAGE * look.u_deg
        colour = GOOD if look.inside else BAD
        self._ellipse.setRect(x - half[0], y - half[1], 2 * half[0], 2 * half[1])
        self._ellipse.setBrush(QBrush(faded(colour, 60)))
        # A disc when all is right, a diamond when not, a star at the edge of the map when it lies
        # outside: the colour says it a second time.
        symbol = "star" if look.beyond else ("o" if look.inside else "d")
        self._point.setData([x], [y], symbol=symbol, brush=pg.mkBrush(colour))

    def _draw_trail(self, look: TargetMap) -> None:
        age = (look.trail_age_s / TRAIL_STEP_S).astype(int).clip(0, len(self._fading) - 1)
        size = 8.0 - 5.0 * look.trail_age_s / TRAIL_S
        self._trail.setData(
            look.trail_deg[:, 0], look.trail_deg[:, 1], size=size.clip(2.0),
            brush=[self._fading[i] for i in age],
        )  # fmt: skip

    def _draw_ground(self, target: Target) -> None:
        """Draw what stays, and what is allowed."""
        self.setRange(xRange=(-SPAN_DEG, SPAN_DEG), yRange=(CAPTION_DEG, SPAN_DEG), padding=0.03)
        self.setAspectLocked(lock=True)
        self.setMouseEnabled(x=False, y=False)
        self.setMenuEnabled(False)
        self.hideButtons()
        self.hideAxis("left")
        self.hideAxis("bottom")
        self._above = self._polygon(QBrush(faded(BAD, 70), Qt.BrushStyle.BDiagPattern))
        self._allowed = self._polygon(QBrush(BAND))
        self._limit = self.plot(pen=pg.mkPen(BAD, width=1))
        self._lay_ground(target.direction)
        for radius in RINGS_DEG:
            self._ring(radius, QPen(LINE, 0))
            slant = 0.7071 * (radius - 1.4)
            self._label(f"{radius:g}°", slant, -slant, size=8, colour=QUIET, fill=None)
        self._ring(target.cone_deg, QPen(QUIET, 0, Qt.PenStyle.DashLine))
        for x, y in ((CROSS_DEG, 0.0), (0.0, CROSS_DEG)):
            self.plot([-x, x], [-y, y], pen=pg.mkPen(INK, width=2))

    def _lay_ground(self, toward: NDArray[np.float64]) -> None:
        """Lay out what is allowed about where the target points (3,), if that has changed."""
        if self._toward is not None and np.allclose(self._toward, toward, atol=1e-3):
            return
        self._toward = toward
        limit = superior_limit_line(self._target, toward)
        above = np.concatenate([limit, [[90.0, 90.0], [-90.0, 90.0]]])
        self._above.setPolygon(_corners(above))
        self._allowed.setPolygon(_corners(allowed_outline(self._target, toward)))
        self._limit.setData(limit[:, 0], limit[:, 1])

    def _draw_words(self) -> None:
        self._label(f"▴ {tr('superior')}", 0.0, SPAN_DEG * 0.92, size=11)
        self._warning = self._label(tr("not this way"), 0.0, SPAN_DEG * 0.70, size=9, colour=BAD)
        self._label(f"▾ {tr('inferior')}", 0.0, -SPAN_DEG * 0.86, size=11)
        self._right = self._label("", *SIDES_DEG, size=11)
        self._left = self._label("", *SIDES_DEG, size=11)
        self._place = self._label("", 0.0, CAPTION_DEG, size=9, colour=QUIET)

    def _turn(self) -> None:
        """Mirror the map to where it is seen from."""
        lateral_right = lateral_is_right(self._side, self._stand)
        self.getPlotItem().invertX(not lateral_right)
        outer, inner = tr("lateral"), tr("medial")
        if not lateral_right:
            outer, inner = inner, outer
        sign = 1.0 if lateral_right else -1.0
        x, y = SIDES_DEG
        for item, text, at in (
            (self._right, f"{outer} ▸", sign * x),
            (self._left, f"◂ {inner}", -sign * x),
        ):
            item.setText(text)
            item.setPos(at, y)
        trail = said("dots: last {} s", f"{TRAIL_S:g}")
        parts = [SHOULDERS[self._side], self._stand.value, trail, tr("shade: 95 % sure")]
        parts += self._experts * [tr("dotted: experts")]
        narrow = self.width() <= NARROW_PX * text_scale()
        self._place.setText(" · ".join(map(tr, parts[:2] if narrow else parts)))
        self._warning.setVisible(not narrow)  # the hatching says it too

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if hasattr(self, "_place"):
            self._turn()

    def _ring(self, radius: float, pen: QPen) -> None:
        ring = QGraphicsEllipseItem(-radius, -radius, 2 * radius, 2 * radius)
        ring.setPen(pen)
        self.addItem(ring)

    def _polygon(self, brush: QBrush) -> QGraphicsPolygonItem:
        item = QGraphicsPolygonItem()
        item.setPen(NO_LINE)
        item.setBrush(brush)
        self.addItem(item)
        return item

    def _label(
        self,
        text: str,
        x: float,
        y: float,
        *,
        size: float,
        bold: bool = False,
        colour: QColor = INK,
        fill: QColor | None = PAPER,
    ) -> pg.TextItem:
        item = pg.TextItem(text, color=colour, anchor=(0.5, 0.5), fill=fill)
        item.setFont(font(size, bold=bold))
        item.setPos(x, y)
        self.addItem(item)
        return item


def _fading_brushes() -> list[QBrush]:
    """Return the trail's brushes by age, the newest first."""
    steps = int(TRAIL_S / TRAIL_STEP_S)
    return [QBrush(faded(QUIET, int(230 * (1.0 - i / steps)))) for i in range(steps)]


def _corners(points: NDArray[np.float64]) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in points])
