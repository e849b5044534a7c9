"""The instructor's checklist in the window."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel

from ui.cli.live import practice_of
from ui.desktop.checklist_panel import ChecklistPanel
from ui.desktop.window import TrainerWindow
from ui.live.practice.checklist import ChecklistError

Maker = Callable[..., TrainerWindow]
PORT = "virtual:?trainee=T01&seed=7&reps=0"


def press(window: TrainerWindow, *keys: Qt.Key) -> None:
    for key in keys:
        QTest.keyClick(window, key)
    window.refresh()


def test_l_shows_the_list_and_a_number_answers_its_item(window: Maker) -> None:
    one = window(PORT)
    panel = one.panel(ChecklistPanel)
    assert not panel.isVisible()

    press(one, Qt.Key.Key_L)
    assert panel.isVisible()
    assert panel.lines[0].startswith("1  ☐ open · Finds the coracoid process")
    press(one, Qt.Key.Key_1, Qt.Key.Key_3, Qt.Key.Key_3)

    assert [line.split(" · ")[0] for line in panel.lines] == [
        "1  ☑ yes", "2  ☐ open", "3  ☒ no", "4  ☐ open", "5  ☐ open"
    ]  # fmt: skip
    press(one, Qt.Key.Key_L)
    assert not panel.isVisible()


def test_an_item_can_be_touched(window: Maker) -> None:
    one = window(PORT)
    press(one, Qt.Key.Key_L)
    panel = one.panel(ChecklistPanel)
    item = next(line for line in panel.findChildren(QLabel) if line.text().startswith("2 "))

    QTest.mouseClick(item, Qt.MouseButton.LeftButton)
    one.refresh()

    assert panel.lines[1].startswith("2  ☑ yes")


def test_the_trainee_does_not_see_it(window: Maker) -> None:
    one = window(PORT)
    press(one, Qt.Key.Key_L, Qt.Key.Key_T)

    with pytest.raises(StopIteration):
        one.panel(ChecklistPanel)


def test_answers_outlive_other_colours(window: Maker) -> None:
    one = window(PORT)
    press(one, Qt.Key.Key_L, Qt.Key.Key_4)

    one.toggle_dark()
    one.refresh()

    assert one.panel(ChecklistPanel).isVisible()
    assert one.panel(ChecklistPanel).lines[3].startswith("4  ☑ yes")


def test_an_instructor_brings_a_list_of_her_own(window: Maker, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('name="own"\ntitle="Own"\n[[item]]\nkey="greets"\ntext="Says hello"\n')
    one = window(PORT)

    practice_of(None, checklist=own)(one.trainer)
    press(one, Qt.Key.Key_L)

    assert one.panel(ChecklistPanel).lines == ("1  ☐ open · Says hello",)


def test_a_broken_list_is_refused_before_the_window_opens(tmp_path: Path) -> None:
    with pytest.raises(ChecklistError, match=r"none\.toml: no such file"):
        practice_of(None, checklist=tmp_path / "none.toml")
