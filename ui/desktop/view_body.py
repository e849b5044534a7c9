"""One view of a session: the trainee's, large and calm, or the instructor's, with everything."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any, TypeVar

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QWidget,
)

from analysis.said import said
from analysis.target import Target
from ui.desktop.look import BAD, INK, QUIET, font, paper
from ui.desktop.panels import PANELS, Panel, Place
from ui.desktop.words import tr
from ui.live.looks import Maker
from ui.live.target_map import Stand

CAUTION = "training aid on a rig · never on a person · your school's rules apply"
LEAST_ROOM = QSize(980, 720)
"""What a view needs at the usual size of text."""
WidgetT = TypeVar("WidgetT", bound=QWidget)


class View(Enum):
    """For whom a view is."""

    INSTRUCTOR = "instructor's view"
    TRAINEE = "trainee's view"


@dataclass(frozen=True, slots=True)
class _Grid:
    """How the rows and columns of a view share the room, and where its last line stands."""

    columns: tuple[int, ...]
    rows: Mapping[int, int]
    foot: Place


GRIDS: Mapping[View, _Grid] = {
    View.INSTRUCTOR: _Grid((3, 3, 0, 5), {2: 1, 3: 4, 4: 1, 5: 5}, (7, 0, 1, 4)),
    View.TRAINEE: _Grid((11, 0, 5, 5), {3: 5, 4: 5, 5: 0}, (7, 0, 1, 4)),
}


class ViewBody(QWidget):
    """Holds the panels of one view.

    Args:
        view: Which.
        target: What is shown against.
        side: Of the rig.
        title: Stands at the top.
        foot: Stands at the bottom: the keys.
        troubled: Told of an error in a widget, whose place then says so.
    """

    def __init__(
        self,
        view: View,
        *,
        target: Target,
        side: str,
        title: str,
        foot: str,
        troubled: Callable[[Exception], None],
    ) -> None:
        super().__init__()
        self.view = view
        self._troubled = troubled
        self.setObjectName("body")
        self.setAccessibleName(tr(view.value))
        self.setPalette(paper())
        self.setAutoFillBackground(True)
        self._panels: list[tuple[Panel, QWidget]] = []
        self._grid = QGridLayout(self)
        self._instead = label("", 24, QUIET.name())
        self._instead.setAccessibleName(tr("why nothing is shown"))
        self._instead.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._instead.setWordWrap(True)
        self._lay_out(title, foot, target, side)

    def panel(self, kind: type[WidgetT]) -> WidgetT:
        """Return the first panel's widget of a kind.

        Raises:
            StopIteration: There is none.
        """
        return next(widget for _, widget in self._panels if isinstance(widget, kind))

    def show_looks(self, looks: Mapping[Maker, Any]) -> None:
        """Hand each panel its look; one that fails is put out of service, the others go on."""
        for place, (panel, widget) in enumerate(self._panels):
            if panel.model in looks:
                try:
                    widget.show_look(looks[panel.model])  # type: ignore[attr-defined] # by contract
                except Exception as error:  # noqa: BLE001 - one broken panel must not stop the others
                    self._put_out_of_service(place, error)

    def show_feedback(self, *, shown: bool, instead: str = "") -> None:
        """Let the trainee see how well it goes, or say why not; the instructor always sees it."""
        hidden = self.view is View.TRAINEE and not shown
        for panel, widget in self._panels:
            if panel.feedback and widget.isHidden() is not hidden:
                widget.setVisible(not hidden)
        text = tr(instead) if hidden else ""
        if text != self._instead.text():
            self._instead.setText(text)

    def look_from(self, stand: Stand) -> None:
        """Turn every panel that has a viewpoint."""
        for _, widget in self._panels:
            turn = getattr(widget, "look_from", None) if _has_viewpoint(widget) else None
            if turn is not None:
                turn(stand)

    def _put_out_of_service(self, place: int, error: Exception) -> None:
        panel, widget = self._panels[place]
        where = panel.instructor if self.view is View.INSTRUCTOR else panel.trainee
        broken = label(f"▲ {tr(said('this panel failed: {}', error))}", 10, BAD.name())
        broken.setWordWrap(True)
        broken.setAccessibleName(tr("broken panel"))
        self._panels[place] = (Panel(model=_never, widget=panel.widget), broken)
        self._grid.removeWidget(widget)
        widget.hide()
        if where is not None:
            self._grid.addWidget(broken, *where)
        self._troubled(error)

    def _lay_out(self, title: str, foot: str, target: Target, side: str) -> None:
        grid = self._grid
        grid.setContentsMargins(16, 10, 16, 8)
        grid.setHorizontalSpacing(14)
        grid.setVerticalSpacing(4)
        head = QHBoxLayout()
        head.addWidget(label(title, 11, INK.name()))
        head.addSpacing(10)
        caution = label(tr(CAUTION), 9, QUIET.name())
        caution.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        head.addWidget(caution, 1)
        shape = GRIDS[self.view]
        grid.addLayout(head, 0, 0, 1, 3)
        for panel in PANELS:
            place = panel.instructor if self.view is View.INSTRUCTOR else panel.trainee
            if place is not None:
                self._add(panel, panel.widget(target, side), place)
        if self.view is View.TRAINEE:
            grid.addWidget(self._instead, 2, 0, 1, 4)
        last = label(foot, 9, QUIET.name())
        last.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        last.setWordWrap(True)
        grid.addWidget(last, *shape.foot)
        for column, stretch in enumerate(shape.columns):
            grid.setColumnStretch(column, stretch)
        for row, stretch in shape.rows.items():
            grid.setRowStretch(row, stretch)

    def _add(self, panel: Panel, widget: QWidget, place: Place) -> None:
        widget.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        policy = widget.sizePolicy()
        policy.setRetainSizeWhenHidden(True)
        widget.setSizePolicy(policy)
        self._panels.append((panel, widget))
        self._grid.addWidget(widget, *place)


def scale_that_fits(wanted: float, *windows: QWidget) -> float:
    """Return the size of text that is wanted, or the largest for which every window has room."""
    room = [
        min(one.width() / LEAST_ROOM.width(), one.height() / LEAST_ROOM.height()) for one in windows
    ]
    return min(wanted, *(max(1.0, each) for each in room))


def label(text: str, points: float, colour: str) -> QLabel:
    """Return a line of text in a size and a colour."""
    made = QLabel(text)
    made.setFont(font(points))
    made.setStyleSheet(f"color: {colour};")
    return made


def _has_viewpoint(widget: QWidget) -> bool:
    """Tell whether a widget can be turned; not by asking it, for plots answer for their parts."""
    return any("look_from" in vars(kind) for kind in type(widget).__mro__)


def _never() -> Any:
    """Stand for the model of a panel that is out of service."""
    raise NotImplementedError
