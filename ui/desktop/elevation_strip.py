"""Where the arm is, and how fast it moves against what is allowed."""

from __future__ import annotations

import numpy as np
from PySide6.QtWidgets import QVBoxLayout, QWidget

from analysis.target import Target
from ui.desktop.gauge import Gauge, Scale
from ui.live.elevation import ElevationLook

TOP_DEG = 180.0
SPEED_SPAN = 2.5
"""The scale of the speed goes this far beyond its limit."""


class ElevationStrip(QWidget):
    """Shows elevation, phase, and speed.

    Args:
        target: Has the speed limit.
        side: Of the rig; both look alike.
    """

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        fastest = target.elevation_speed_limit_deg_s
        ticks = tuple(float(tick) for tick in np.arange(0.0, TOP_DEG + 1.0, 30.0))
        self.elevation = Gauge(Scale("Elevation", "°", 0.0, TOP_DEG, ticks))
        self.speed = Gauge(
            Scale("Elevation speed", "°/s", 0.0, SPEED_SPAN * fastest,
                  (0.0, fastest, 2 * fastest), (0.0, fastest))
        )  # fmt: skip
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(self.elevation)
        column.addWidget(self.speed)

    def show_look(self, look: ElevationLook) -> None:
        """Show one look."""
        self.elevation.show_value(look.elevation_deg, look.word, bad=False)
        self.speed.show_value(abs(look.speed_deg_s), look.speed_word, bad=look.too_fast)
