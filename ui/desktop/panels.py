"""What the window is made of: each panel a model, a widget and a place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from analysis.target import Target
from ui.desktop.elevation_strip import ElevationStrip
from ui.desktop.force_gauge import ForceGauge
from ui.desktop.map_view import MapView
from ui.desktop.status_lines import RecordingLine, StatusLine, TroubleLine
from ui.desktop.traces import Traces
from ui.desktop.upward_bar import UpwardBar
from ui.desktop.verdict_line import VerdictLine
from ui.live.elevation import ElevationModel
from ui.live.force_band import ForceBandModel
from ui.live.line_health import HealthModel
from ui.live.moment import Moment
from ui.live.superior import SuperiorModel
from ui.live.target_map import TargetMapModel
from ui.live.traces import TracesModel
from ui.live.verdict import VerdictModel


class Model(Protocol):
    """Turns a moment into what its widget shows."""

    def look(self, moment: Moment) -> Any:
        """Return the look."""
        ...


@dataclass(frozen=True, slots=True)
class Panel:
    """A piece of the window.

    Attributes:
        model: Makes its model.
        widget: Makes its widget from the target and the side of the rig; the widget has a
            method ``show_look`` that takes what the model gives.
        place: Row, column, rows and columns it spans in the window's grid.
    """

    model: Callable[[], Model]
    widget: Callable[[Target, str], Any]
    place: tuple[int, int, int, int]


PANELS: tuple[Panel, ...] = (
    Panel(HealthModel, RecordingLine, (0, 2, 1, 1)),
    Panel(HealthModel, TroubleLine, (1, 0, 1, 3)),
    Panel(TargetMapModel, MapView, (2, 0, 3, 1)),
    Panel(SuperiorModel, UpwardBar, (2, 1, 3, 1)),
    Panel(ForceBandModel, ForceGauge, (2, 2, 1, 1)),
    Panel(ElevationModel, ElevationStrip, (3, 2, 1, 1)),
    Panel(TracesModel, Traces, (4, 2, 1, 1)),
    Panel(VerdictModel, VerdictLine, (5, 0, 1, 2)),
    Panel(HealthModel, StatusLine, (5, 2, 1, 1)),
)
"""A new one is a file in `ui.live`, a file here, and a line."""
