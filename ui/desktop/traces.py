"""Scrolling traces of the last seconds, drawn from least and greatest of each column."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray

from analysis.target import Target
from ui.desktop.look import BAND, INK, PAPER, QUIET, font
from ui.desktop.words import tr
from ui.live.moment import RECENT_S
from ui.live.traces import TracesLook
from ui.numbers import shown

Floats = NDArray[np.float64]

LAST_ROW = 2
TIMES_S = (-15.0, -10.0, -5.0)


class Traces(pg.GraphicsLayoutWidget):
    """Elevation, force and superior angle over the last seconds.

    Args:
        target: Has force band and superior limit.
        side: Of the rig; both look alike.
    """

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self.setAccessibleName(tr("traces of the last seconds"))
        self.setBackground(PAPER)
        band = target.force_band
        self._elevation = self._row(0, tr("elevation °"), (0.0, 180.0), (0.0, 60.0, 120.0))
        self._force = self._row(
            1, tr("force N"), (0.0, 1.5 * band.high_n), (band.low_n, band.high_n),
            shaded=(band.low_n, band.high_n),
        )  # fmt: skip
        self._superior = self._row(
            2, tr("superior °"), (-20.0, 20.0), (-10.0, 0.0, 10.0),
            shaded=(-20.0, target.superior_limit_deg),
        )  # fmt: skip

    def show_look(self, look: TracesLook) -> None:
        """Draw one look; unknown stretches are breaks in the line."""
        time_s = np.repeat(look.time_s, 2)
        for curve, values in (
            (self._elevation, look.elevation_deg),
            (self._force, look.force_n),
            (self._superior, look.superior_deg),
        ):
            curve.setData(time_s, values.ravel(), connect="finite")

    def _row(
        self,
        row: int,
        name: str,
        span: tuple[float, float],
        ticks: tuple[float, ...],
        shaded: tuple[float, float] | None = None,
    ) -> pg.PlotDataItem:
        plot = self.addPlot(row=row, col=0)
        plot.setRange(xRange=(-RECENT_S, 0.0), yRange=span, padding=0.0)
        plot.setMouseEnabled(x=False, y=False)
        plot.setMenuEnabled(False)
        plot.hideButtons()
        axis = plot.getAxis("left")
        axis.setTicks([[(tick, shown(tick, 0)) for tick in ticks]])
        axis.setWidth(66)
        axis.setLabel(name, color=INK.name(), **{"font-size": "9pt"})
        for side in ("left", "bottom"):
            plot.getAxis(side).setPen(pg.mkPen(QUIET))
            plot.getAxis(side).setTextPen(pg.mkPen(QUIET))
            plot.getAxis(side).setStyle(tickFont=font(8))
        plot.getAxis("bottom").setStyle(showValues=row == LAST_ROW)
        plot.getAxis("bottom").setTicks([[(at, f"{shown(at, 0)} s") for at in TIMES_S]])
        if shaded is not None:
            region = pg.LinearRegionItem(
                shaded, orientation="horizontal", movable=False, brush=BAND, pen=pg.mkPen(BAND)
            )
            plot.addItem(region)
        return plot.plot(pen=pg.mkPen(INK, width=1))
