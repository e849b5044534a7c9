"""What the windows are made of: each panel a model, a widget, and its places in the two views."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from analysis.target import Target
from ui.desktop.above_view import AboveView
from ui.desktop.after_card import AfterCard, CompactCard
from ui.desktop.arc_dial import ArcDial
from ui.desktop.checklist_panel import ChecklistPanel
from ui.desktop.force_gauge import ForceGauge
from ui.desktop.map_view import MapView
from ui.desktop.outside_view import OutsideView
from ui.desktop.practice_line import PlaceLine, PracticeLine
from ui.desktop.speed_gauge import SpeedGauge
from ui.desktop.status_lines import RecordingLine, StatusLine, TroubleLine
from ui.desktop.stop_banner import DrillLine, StopBanner
from ui.desktop.traces import Traces
from ui.desktop.upward_bar import UpwardBar
from ui.desktop.verdict_line import LargeVerdict, VerdictLine
from ui.live.anatomy import AboveModel, OutsideModel
from ui.live.arc import ArcModel
from ui.live.elevation import ElevationModel
from ui.live.force_band import ForceBandModel
from ui.live.line_health import HealthModel
from ui.live.looks import Maker
from ui.live.practice.panels import CardModel, ChecklistModel, DrillModel, PlaceModel
from ui.live.superior import SuperiorModel
from ui.live.target_map import TargetMapModel
from ui.live.traces import TracesModel
from ui.live.verdict import VerdictModel

Place = tuple[int, int, int, int]
"""Row, column, rows and columns spanned in the grid of a view."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A piece of a window.

    Attributes:
        model: Makes its model. Panels that name the same maker share one model.
        widget: Makes its widget from the target and the side of the rig; the widget has a
            method ``show_look`` that takes what the model gives.
        instructor: Where it stands in the instructor's view, None if it does not.
        trainee: Where it stands in the trainee's view, None if it does not.
        feedback: It tells how well the push goes; the trainee does not see it while the practice
            hides that.
    """

    model: Maker
    widget: Callable[[Target, str], Any]
    instructor: Place | None = None
    trainee: Place | None = None
    feedback: bool = False


PANELS: tuple[Panel, ...] = (
    Panel(model=HealthModel, widget=RecordingLine, instructor=(0, 3, 1, 1), trainee=(0, 3, 1, 1)),
    Panel(model=HealthModel, widget=TroubleLine, instructor=(1, 0, 1, 3), trainee=(1, 0, 1, 4)),
    Panel(model=PlaceModel, widget=PlaceLine, instructor=(1, 3, 1, 1)),
    Panel(model=PlaceModel, widget=PracticeLine, trainee=(6, 0, 1, 4)),
    Panel(
        model=TargetMapModel, widget=MapView, feedback=True,
        instructor=(2, 0, 3, 2), trainee=(3, 0, 3, 1),
    ),
    Panel(
        model=SuperiorModel, widget=UpwardBar, feedback=True,
        instructor=(2, 2, 4, 1), trainee=(3, 1, 3, 1),
    ),
    Panel(
        model=AboveModel, widget=AboveView, feedback=True,
        instructor=(5, 0, 1, 1), trainee=(3, 2, 1, 1),
    ),
    Panel(
        model=OutsideModel, widget=OutsideView, feedback=True,
        instructor=(5, 1, 1, 1), trainee=(3, 3, 1, 1),
    ),
    Panel(
        model=ForceBandModel, widget=ForceGauge, feedback=True,
        instructor=(2, 3, 1, 1), trainee=(5, 2, 1, 1),
    ),
    Panel(
        model=ArcModel, widget=ArcDial, feedback=True,
        instructor=(3, 3, 1, 1), trainee=(4, 2, 1, 2),
    ),
    Panel(
        model=ElevationModel, widget=SpeedGauge, feedback=True,
        instructor=(4, 3, 1, 1), trainee=(5, 3, 1, 1),
    ),
    Panel(model=TracesModel, widget=Traces, instructor=(5, 3, 1, 1)),
    Panel(model=VerdictModel, widget=VerdictLine, instructor=(6, 0, 1, 3)),
    Panel(model=VerdictModel, widget=LargeVerdict, trainee=(2, 0, 1, 4), feedback=True),
    Panel(model=HealthModel, widget=StatusLine, instructor=(6, 3, 1, 1)),
    # Last: they lie over the picture, and hide themselves.
    Panel(model=CardModel, widget=CompactCard, instructor=(5, 0, 1, 2)),
    Panel(model=CardModel, widget=AfterCard, trainee=(3, 0, 3, 4)),
    Panel(model=ChecklistModel, widget=ChecklistPanel, instructor=(5, 3, 1, 1)),
    Panel(model=DrillModel, widget=DrillLine, instructor=(8, 0, 1, 4)),
    Panel(model=DrillModel, widget=StopBanner, instructor=(2, 0, 4, 4), trainee=(2, 0, 4, 4)),
)  # fmt: skip
"""A new one is a file in `ui.live`, a file here, and a line."""
