"""How fast the arm moves, against what is allowed."""

from __future__ import annotations

from analysis.target import Target
from ui.desktop.gauge import Gauge, Scale
from ui.desktop.words import tr
from ui.live.elevation import ElevationLook

SPEED_SPAN = 2.5
"""The scale goes this far beyond the limit."""


class SpeedGauge(Gauge):
    """Shows the speed of the elevation.

    Args:
        target: Has the speed limit.
        side: Of the rig; both look alike.
    """

    def __init__(self, target: Target, side: str) -> None:
        fastest = target.elevation_speed_limit_deg_s
        super().__init__(
            Scale(
                tr("Speed"), "°/s", 0.0, SPEED_SPAN * fastest,
                (0.0, fastest, 2 * fastest), (0.0, fastest),
            )
        )  # fmt: skip

    def show_look(self, look: ElevationLook) -> None:
        """Show one look."""
        self.show_value(abs(look.speed_deg_s), tr(look.speed_word), bad=look.too_fast)
        self.show_experts(look.experts_deg_s)
