"""The shoulder from the outside: whether any of the push goes up, toward the roof."""

from __future__ import annotations

import math

from PySide6.QtCore import Qt
from PySide6.QtGui import QBrush, QPainter, QPen

from analysis.target import Target
from ui.desktop import look as colours
from ui.desktop.body_view import REACH, BodyView, Place
from ui.desktop.words import tr
from ui.live.anatomy import page_from_outside, superior_allowed

WRONG_TO_DEG = 75.0
"""So far up the wrong way is hatched."""


class OutsideView(BodyView):
    """Shows the superior angle.

    Args:
        target: Gives tilt, cone and limit.
        side: Of the rig.
    """

    sign = "+"

    def __init__(self, target: Target, side: str) -> None:
        super().__init__(tr("from the outside"), tr("push seen from the outside"), target)
        self._side = side

    def page(self, angle_deg: float) -> Place:
        """Return where an angle points on the page, seen from the outside."""
        return page_from_outside(angle_deg, self._side)

    def around(self, painter: QPainter) -> None:
        """Draw what the push is seen against."""
        low, high = superior_allowed(self._target)
        back = self.page(0.0)[0]
        limit = self._target.superior_limit_deg
        hatch = QBrush(colours.faded(colours.BAD, 90), Qt.BrushStyle.BDiagPattern)
        self._arm(painter)
        self.fan(painter, limit, WRONG_TO_DEG, REACH + 0.25, hatch)
        self.fan(painter, low, high, REACH + 0.25, colours.BAND)
        self.disc(
            painter, (0.0, 0.0), 1.0, QPen(colours.INK, 1.5), colours.faded(colours.GROUND, 150)
        )
        self._roof(painter)
        x, y = self.page(limit)
        self.line(painter, [(0.0, 0.0), (2.45 * x, 2.45 * y)], QPen(colours.BAD, 1.5))
        x, y = self.page(-self._target.inferior_tilt_deg)
        self.line(
            painter, [(0.0, 0.0), (2.45 * x, 2.45 * y)],
            QPen(colours.INK, 1, Qt.PenStyle.DashLine),
        )  # fmt: skip
        self.label(painter, tr("▴ up: wrong way"), (2.0 * back, 2.5), colours.BAD)
        self.label(painter, tr("front"), (-2.3 * back, -0.95), colours.QUIET)
        self.label(painter, tr("back"), (2.3 * back, -0.95), colours.QUIET)

    def _arm(self, painter: QPainter) -> None:
        painter.setPen(QPen(colours.QUIET, 1.2))
        painter.setBrush(colours.GROUND)
        shaft = [(-0.5, -0.8), (0.5, -0.8), (0.36, -2.6), (-0.36, -2.6)]
        painter.drawPolygon([self.pixel(corner) for corner in shaft])

    def _roof(self, painter: QPainter) -> None:
        """Draw the roof of the joint, against which an upward push drives the head."""
        outer = [(1.62 * math.cos(a), 1.62 * math.sin(a)) for a in _angles(52.0, 128.0)]
        inner = [(1.34 * math.cos(a), 1.34 * math.sin(a)) for a in _angles(128.0, 52.0)]
        painter.setPen(QPen(colours.QUIET, 1.2))
        painter.setBrush(colours.GROUND)
        painter.drawPolygon([self.pixel(corner) for corner in outer + inner])
        self.label(painter, tr("roof"), (-1.75 * self.page(0.0)[0], 1.35), colours.QUIET)


def _angles(start_deg: float, stop_deg: float, steps: int = 12) -> list[float]:
    return [math.radians(start_deg + (stop_deg - start_deg) * i / steps) for i in range(steps + 1)]
