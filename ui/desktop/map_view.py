"""The target map: where the push goes, seen along the target."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtGui import QBrush, QColor, QPen
from PySide6.QtWidgets import QGraphicsEllipseItem

from analysis.target import Target
from ui.desktop.look import BAD, BAND, GOOD, INK, LINE, QUIET, UNSURE, font
from ui.live.screen import Picture, PushState

SPAN_DEG = 30.0
RINGS_DEG = (10.0, 20.0, 30.0)
COVERAGE = 2.0
"""The ellipse has twice the standard uncertainty: about 95 %."""


class MapView(pg.PlotWidget):
    """Draws direction, its uncertainty and its trail.

    On a left rig lateral is on the left, as the trainee who stands before it sees it.

    Args:
        target: Gives the cone and the superior limit.
        side: Of the rig.
    """

    def __init__(self, target: Target, side: str) -> None:
        super().__init__(background=None)
        self._sign = 1.0 if side == "right" else -1.0
        self._draw_still(target, side)
        self._trail = self.plot(pen=pg.mkPen(QUIET, width=1))
        self._ellipse = QGraphicsEllipseItem()
        self._ellipse.setPen(QPen(Qt.PenStyle.NoPen))
        self.addItem(self._ellipse)
        self._point = pg.ScatterPlotItem(size=18, pen=pg.mkPen(INK, width=1))
        self.addItem(self._point)
        self._word = pg.TextItem(anchor=(0.5, 0.5), color=INK)
        self._word.setFont(font(20, bold=True))
        self._word.setPos(0.0, -SPAN_DEG * 0.72)
        self.addItem(self._word)

    def show_picture(self, picture: Picture) -> None:
        """Draw one look."""
        known = picture.state is PushState.DIRECTION
        self._word.setText("" if known else picture.state.value)
        trail = picture.trail_deg if picture.state is not PushState.NO_DATA else np.zeros((0, 2))
        self._trail.setData(self._sign * trail[:, 0], trail[:, 1])
        self._ellipse.setVisible(known)
        if not known:
            self._point.setData([], [])
            return
        x, y = self._within(self._sign * picture.map_deg[0], picture.map_deg[1])
        half = COVERAGE * picture.map_u_deg
        self._ellipse.setRect(x - half[0], y - half[1], 2 * half[0], 2 * half[1])
        colour = GOOD if picture.on_target else BAD
        shade = QColor(colour)
        shade.setAlpha(60)
        self._ellipse.setBrush(QBrush(shade))
        # A disc when all is right, a diamond when not: the colour says it a second time.
        self._point.setData(
            [x], [y], symbol="o" if picture.on_target else "d", brush=pg.mkBrush(colour)
        )

    def _within(self, x: float, y: float) -> tuple[float, float]:
        """Keep a push that lies outside the map at its edge, in its direction."""
        size = float(np.hypot(x, y))
        scale = min(1.0, (SPAN_DEG - 1.0) / size) if size > 0.0 else 1.0
        return x * scale, y * scale

    def _draw_still(self, target: Target, side: str) -> None:
        """Draw what never changes: rings, cone, limit and words."""
        self.setRange(xRange=(-SPAN_DEG, SPAN_DEG), yRange=(-SPAN_DEG, SPAN_DEG), padding=0.02)
        self.setAspectLocked(lock=True)
        self.setMouseEnabled(x=False, y=False)
        self.setMenuEnabled(False)
        self.hideButtons()
        self.hideAxis("left")
        self.hideAxis("bottom")
        limit = target.superior_limit_deg + target.inferior_tilt_deg
        upward = pg.LinearRegionItem(
            (limit, 2 * SPAN_DEG), orientation="horizontal", movable=False,
            brush=QBrush(LINE, Qt.BrushStyle.BDiagPattern), pen=pg.mkPen(UNSURE, width=1),
        )  # fmt: skip
        self.addItem(upward)
        self._ring(target.cone_deg, pen=QPen(UNSURE, 0), brush=QBrush(BAND))
        for ring in RINGS_DEG:
            self._ring(ring, pen=QPen(LINE, 0), brush=QBrush(Qt.BrushStyle.NoBrush))
            self._label(f"{ring:g}°", 0.0, -ring, anchor=(0.5, 0.0), size=8)
        self.plot([0.0], [0.0], pen=None, symbol="+", symbolSize=16, symbolPen=pg.mkPen(INK))
        right, left = ("lateral", "medial") if side == "right" else ("medial", "lateral")
        self._label(f"{right} ▸", SPAN_DEG, 0.0, anchor=(1.0, 1.0))
        self._label(f"◂ {left}", -SPAN_DEG, 0.0, anchor=(0.0, 1.0))
        self._label("▴ superior: not this way", 0.0, SPAN_DEG, anchor=(0.5, 0.0))
        self._label("▾ inferior", 0.0, -SPAN_DEG, anchor=(0.5, 1.0))

    def _ring(self, radius: float, *, pen: QPen, brush: QBrush) -> None:
        ring = QGraphicsEllipseItem(-radius, -radius, 2 * radius, 2 * radius)
        ring.setPen(pen)
        ring.setBrush(brush)
        self.addItem(ring)

    def _label(
        self, text: str, x: float, y: float, *, anchor: tuple[float, float], size: float = 10
    ) -> None:
        item = pg.TextItem(text, color=QUIET if size < 10 else INK, anchor=anchor)
        item.setFont(font(size))
        item.setPos(x, y)
        self.addItem(item)
