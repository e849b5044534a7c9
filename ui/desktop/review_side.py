"""One recording under review: the views of the live window, its repetitions and their criteria."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from PySide6.QtWidgets import QGridLayout, QLabel, QSizePolicy, QWidget

from analysis.target import Target
from analysis.trial import Trial
from ui.desktop.above_view import AboveView
from ui.desktop.arc_dial import ArcDial
from ui.desktop.force_gauge import ForceGauge
from ui.desktop.look import INK
from ui.desktop.map_view import MapView
from ui.desktop.outside_view import OutsideView
from ui.desktop.repetition_list import RepetitionList
from ui.desktop.upward_bar import UpwardBar
from ui.desktop.verdict_line import VerdictLine
from ui.desktop.view_body import label
from ui.desktop.words import tr
from ui.live.anatomy import AboveModel, OutsideModel
from ui.live.arc import ArcModel
from ui.live.force_band import ForceBandModel
from ui.live.looks import Looks, Maker
from ui.live.playback import Playback
from ui.live.superior import SuperiorModel
from ui.live.target_map import Stand, TargetMapModel
from ui.live.verdict import VerdictModel

WidgetOf = Callable[[Target, str], Any]
Place = tuple[int, int, int, int]

Views = tuple[tuple[Maker, WidgetOf, Place], ...]


@dataclass(frozen=True, slots=True)
class _Plan:
    """Model, widget and place of each view; how columns and rows share the room."""

    views: Views
    columns: tuple[int, ...]
    rows: Mapping[int, int]
    repetitions: Place


ALONE = _Plan(
    (
        (VerdictModel, VerdictLine, (1, 0, 1, 3)),
        (TargetMapModel, MapView, (2, 0, 3, 1)),
        (SuperiorModel, UpwardBar, (2, 1, 3, 1)),
        (AboveModel, AboveView, (2, 2, 1, 1)),
        (OutsideModel, OutsideView, (3, 2, 2, 1)),
        (ArcModel, ArcDial, (1, 3, 2, 1)),
        (ForceBandModel, ForceGauge, (3, 3, 1, 1)),
    ),
    (9, 0, 5, 7),
    {2: 4, 3: 0, 4: 5},
    (4, 3, 1, 1),
)
"""One recording has the whole window."""
BESIDE = _Plan(
    (
        (VerdictModel, VerdictLine, (1, 0, 1, 2)),
        (TargetMapModel, MapView, (2, 0, 1, 1)),
        (AboveModel, AboveView, (2, 1, 1, 1)),
        (OutsideModel, OutsideView, (3, 0, 1, 1)),
        (ArcModel, ArcDial, (3, 1, 1, 1)),
        (ForceBandModel, ForceGauge, (4, 0, 1, 2)),
    ),
    (1, 1),
    {2: 5, 3: 4, 5: 0},
    (5, 0, 1, 2),
)
"""Two recordings beside each other."""


class ReviewSide(QWidget):
    """Shows a recording at the place where its playback stands.

    Args:
        trial: The recording.
        chosen: Called with the row of the repetition that a person chooses.
        troubled: Told of an error in a model.
        alone: It has the window for itself.
    """

    def __init__(
        self,
        trial: Trial,
        chosen: Callable[[int], object],
        troubled: Callable[[Exception], None],
        *,
        alone: bool,
    ) -> None:
        super().__init__()
        self.playback = Playback(trial)
        self.setAccessibleName(tr("recording under review"))
        self._troubled = troubled
        self._plan = ALONE if alone else BESIDE
        side = str(trial.recording["side"])
        self._widgets = [widget(trial.target, side) for _, widget, _ in self._plan.views]
        self._looks = self._new_looks()
        self.repetitions = RepetitionList(trial, chosen, beside=not alone)
        self._lay_out(trial)

    def refresh(self) -> None:
        """Draw what there is to see where the playback stands, if that is new."""
        anew, moments = self.playback.take()
        if anew:
            self._looks = self._new_looks()
        looks = {}
        for moment in moments:
            looks = dict(self._looks.of(moment))
        for (maker, _, _), widget in zip(self._plan.views, self._widgets, strict=True):
            if maker in looks:
                widget.show_look(looks[maker])
        repetition = self.playback.repetition()
        if repetition is not None:
            self.repetitions.show_chosen(repetition.number - 1)

    def look_from(self, stand: Stand) -> None:
        """Turn the views that have a viewpoint."""
        for widget in self._widgets:
            if isinstance(widget, MapView | AboveView):
                widget.look_from(stand)

    def _new_looks(self) -> Looks:
        return Looks((maker for maker, _, _ in self._plan.views), self._troubled)

    def _lay_out(self, trial: Trial) -> None:
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        title = label(title_of(trial), 11, INK.name())
        title.setWordWrap(True)
        title.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        grid.addWidget(title, 0, 0, 1, len(self._plan.columns))
        for (_, _, place), widget in zip(self._plan.views, self._widgets, strict=True):
            grid.addWidget(widget, *place)
        grid.addWidget(self.repetitions, *self._plan.repetitions)
        for column, stretch in enumerate(self._plan.columns):
            grid.setColumnStretch(column, stretch)
        for row, stretch in self._plan.rows.items():
            grid.setRowStretch(row, stretch)


def title_of(trial: Trial) -> str:
    """Return whose recording it is, of when, and on which rig."""
    facts = trial.recording
    parts = (
        facts["person"] or tr("no code"),
        str(facts["started_utc"])[:16].replace("T", " ") + " UTC",
        f"{tr(facts['side'])} {tr('rig')} {facts['rig']}",
        str(facts["condition"]).replace("_", " "),
        facts["file"] or "",
    )
    return " · ".join(part for part in parts if part)


def message_line() -> QLabel:
    """Return the line that tells what was done."""
    line = label("", 10, INK.name())
    line.setAccessibleName(tr("what was done"))
    return line
