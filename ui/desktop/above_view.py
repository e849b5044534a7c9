"""The shoulder from above: which way the push goes against the plane of the scapula."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QPainter, QPen

from analysis.target import Target
from ui.desktop import look as colours
from ui.desktop.body_view import REACH, BodyView, Place
from ui.desktop.words import tr
from ui.live.anatomy import azimuth_allowed, page_from_above
from ui.live.target_map import Stand


class AboveView(BodyView):
    """Shows the azimuth.

    Args:
        target: Gives the plane of the scapula and the cone.
        side: Of the rig.
    """

    def __init__(self, target: Target, side: str) -> None:
        super().__init__(tr("from above"), tr("push seen from above"), target)
        self._side = side
        self._stand = Stand.BEHIND

    def look_from(self, stand: Stand) -> None:
        """Turn the page to where the trainee stands."""
        self._stand = stand
        self.look_again()

    def page(self, angle_deg: float) -> Place:
        """Return where an angle points on the page, seen from above."""
        return page_from_above(angle_deg, self._side, self._stand)

    def around(self, painter: QPainter) -> None:
        """Draw what the push is seen against."""
        low, high = azimuth_allowed(self._target)
        middle = self._target.glide_azimuth_deg
        medial, lateral = self.page(middle - 90.0), self.page(middle + 90.0)
        front, back = self.page(180.0), self.page(0.0)
        self.line(
            painter, [_far(medial, 2.6), _far(lateral, 2.6)],
            QPen(colours.QUIET, 1, Qt.PenStyle.DotLine),
        )  # fmt: skip
        self._scapula(painter, medial, self.page(middle))
        self.fan(painter, low, high, REACH + 0.25, colours.BAND)
        self.disc(
            painter, (0.0, 0.0), 1.0, QPen(colours.INK, 1.5), colours.faded(colours.GROUND, 150)
        )
        self.line(
            painter, [(0.0, 0.0), _far(self.page(middle), REACH + 0.25)],
            QPen(colours.INK, 1, Qt.PenStyle.DashLine),
        )  # fmt: skip
        self.label(painter, tr("front"), _far(front, 2.55), colours.QUIET)
        self.label(painter, tr("back"), _far(back, 2.55), colours.QUIET)
        sideways = 1.0 if self.page(90.0)[0] > 0 else -1.0
        self.label(painter, tr("lateral"), (2.4 * sideways, 0.9 * front[1]), colours.QUIET)
        self.label(painter, tr("scapula"), _beside(_far(medial, 1.95), back, 0.55), colours.QUIET)

    def _scapula(self, painter: QPainter, medial: Place, normal: Place) -> None:
        """Draw the blade from the socket toward the spine, and the coracoid before it."""

        def at(along: float, behind: float) -> Place:
            return along * medial[0] + behind * normal[0], along * medial[1] + behind * normal[1]

        blade = [at(1.08, -0.62), at(1.4, -0.2), at(2.6, -0.05), at(2.6, 0.08), at(1.4, 0.2),
                 at(1.08, 0.62)]  # fmt: skip
        painter.setPen(QPen(colours.QUIET, 1.2))
        painter.setBrush(colours.GROUND)
        painter.drawPolygon([self.pixel(corner) for corner in blade])
        self.disc(painter, at(0.95, -1.0), 0.22, QPen(colours.QUIET, 1.2), colours.GROUND)


def _far(way: Place, length: float) -> Place:
    return way[0] * length, way[1] * length


def _beside(place: Place, way: Place, length: float) -> Place:
    return place[0] + way[0] * length, place[1] + way[1] * length
