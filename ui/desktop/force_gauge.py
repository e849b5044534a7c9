"""The force against its band."""

from __future__ import annotations

from analysis.target import Target
from ui.desktop.gauge import Gauge, Scale
from ui.desktop.words import tr
from ui.live.force_band import ForceBandLook


class ForceGauge(Gauge):
    """Shows the force.

    Args:
        target: Has the band.
        side: Of the rig; both look alike.
    """

    def __init__(self, target: Target, side: str) -> None:
        low, high = target.force_band.low_n, target.force_band.high_n
        super().__init__(
            Scale(tr("Force"), " N", 0.0, 2 * high, (0.0, low, high, 2 * high), (low, high))
        )

    def show_look(self, look: ForceBandLook) -> None:
        """Show one look."""
        self.show_value(look.force_n, look.word, bad=look.outside, spread=look.spread_n)
        self.show_experts(look.experts_n)
