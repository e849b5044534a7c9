"""What a screen reader, and a reader of another language, find in the window."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QComboBox,
    QLabel,
    QLineEdit,
    QWidget,
)
from pytestqt.qtbot import QtBot

from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from ui.desktop import look
from ui.desktop.dressed import SETTLED_FRAMES
from ui.desktop.panels import PANELS
from ui.desktop.review_window import ReviewWindow
from ui.desktop.view_body import View, ViewBody
from ui.desktop.window import TrainerWindow
from ui.live.preferences import Memory

QUICK = "virtual:?trainee=T01&seed=7&speed=4"
CONTROLS = (QAbstractButton, QAbstractItemView, QComboBox, QLineEdit)


def nameless(root: QWidget) -> Iterator[str]:
    """Yield what can be operated, or shows something, and has neither a name nor a text."""
    for widget in root.findChildren(QWidget):
        if isinstance(widget, CONTROLS) and not spoken(widget):
            yield repr(widget)


def spoken(widget: QWidget) -> str:
    """Return what a screen reader says of a widget."""
    text = widget.text() if isinstance(widget, QLabel | QAbstractButton) else ""
    return widget.accessibleName() or text


def bodies(window: TrainerWindow) -> list[ViewBody]:
    return window.findChildren(ViewBody)


def test_every_panel_of_both_views_has_a_name_of_its_own_in_its_view(
    window: Callable[..., TrainerWindow],
) -> None:
    one = window(QUICK)

    found = bodies(one)

    assert {body.view for body in found} == set(View)
    for body in found:
        names: list[str] = [
            body.panel(panel.widget).accessibleName()
            for panel in PANELS
            if isinstance(panel.widget, type)
            and (panel.instructor if body.view is View.INSTRUCTOR else panel.trainee)
        ]
        assert len(names) > 8
        assert all(names)
        assert body.accessibleName()


def test_every_control_of_the_window_has_a_name(window: Callable[..., TrainerWindow]) -> None:
    assert list(nameless(window(QUICK))) == []


def test_every_control_of_the_review_has_a_name(
    qtbot: QtBot, recorded: Path, tmp_path: Path
) -> None:
    review = ReviewWindow([analyse(read_recording(recorded))], out_dir=tmp_path)
    qtbot.addWidget(review)

    assert list(nameless(review)) == []


def test_a_control_without_a_name_would_be_found(qtbot: QtBot) -> None:
    root = QWidget()
    qtbot.addWidget(root)
    box = QLineEdit(root)

    assert list(nameless(root)) == [repr(box)]


@pytest.mark.parametrize("steps", [0, 3])
def test_no_line_of_text_is_higher_than_its_place(
    window: Callable[..., TrainerWindow], steps: int
) -> None:
    """Nothing that is written is cut off at its top or foot, in larger text too."""
    one = window(QUICK)
    for _ in range(steps):
        one.larger_text()

    cut = [
        label.text()
        for label in one.findChildren(QLabel)
        if label.isVisible() and label.text() and label.height() < label.fontMetrics().height() - 2
    ]

    assert cut == []


@pytest.mark.parametrize(
    ("size", "scale"), [((1024, 768), 1.04), ((1366, 768), 1.07), ((1920, 1080), 1.5)]
)
def test_text_grows_as_far_as_the_window_has_room(
    window: Callable[..., TrainerWindow], size: tuple[int, int], scale: float
) -> None:
    memory = Memory()
    memory.change(text_scale=1.5)
    one = window("virtual:?trainee=T01&seed=7", memory=memory)

    one.resize(*size)
    for _ in range(SETTLED_FRAMES + 2):
        one.refresh()

    assert look.text_scale() == pytest.approx(scale, abs=0.01)
