"""From the command line through a plan in the window to the table, as a person goes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PySide6.QtCore import Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from ui.cli.exit_codes import INCOMPLETE
from ui.cli.main import main
from ui.desktop.window import TrainerWindow

PORT = "virtual:?trainee=T01&seed=7&speed=8&top=60&reps=0"
LOOK_MS, MOST_LOOKS = 50, 1200
"""A plan that is never done fails after a minute."""
PLAN = """
name = "two_ways"
title = "With and without"
about = "For a test."

[[block]]
name = "Seen"
repetitions = 1
feedback = "continuous"

[[block]]
name = "Alone"
repetitions = 2
feedback = "none"
"""


class Person:
    """Pauses the plan until it is recorded, skips the last repetition, ticks an item, leaves."""

    def __init__(self) -> None:
        self._steps = iter((self._pause, self._record, self._go_on, self._skip, self._leave))
        self._step = next(self._steps)
        self._looks = 0
        self._timer = QTimer()
        self._timer.timeout.connect(self._look)
        self._timer.start(LOOK_MS)

    def _look(self) -> None:
        self._looks += 1
        if self._looks > MOST_LOOKS:
            self._timer.stop()
            QApplication.exit(2)
        for window in QApplication.topLevelWidgets():
            if not isinstance(window, TrainerWindow) or not window.isVisible():
                continue  # also one that was closed by an earlier test
            if self._step(window):
                self._step = next(self._steps, self._step)

    def _pause(self, window: TrainerWindow) -> bool:
        QTest.keyClick(window, Qt.Key.Key_P)
        return True

    def _record(self, window: TrainerWindow) -> bool:
        if window.trainer.feed.state().health.last_block_age_s is None:
            return False
        for key in (Qt.Key.Key_T, Qt.Key.Key_L, Qt.Key.Key_4, Qt.Key.Key_T):
            QTest.keyClick(window, key)
        return True

    def _go_on(self, window: TrainerWindow) -> bool:
        if not window.trainer.feed.state().recording.rows:
            return False
        QTest.keyClick(window, Qt.Key.Key_P)
        return True

    def _skip(self, window: TrainerWindow) -> bool:
        practice = window.trainer.practice
        if practice is None or len(practice.done) < 2:
            return False
        QTest.keyClick(window, Qt.Key.Key_X)
        return True

    def _leave(self, window: TrainerWindow) -> bool:
        self._timer.stop()
        window.close()
        return True


def test_the_conditions_of_a_plan_reach_the_table_and_the_sheet(
    qtbot: QtBot,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    plan = tmp_path / "two_ways.toml"
    plan.write_text(PLAN)
    person = Person()

    assert main(["live", "--port", PORT, "--plan", str(plan), "--out", str(tmp_path)]) == 0

    del person
    (path,) = tmp_path.rglob("*.h5")
    capsys.readouterr()
    assert main(["analyse", str(path), "--json"]) == 0
    repetitions = json.loads(capsys.readouterr().out)["repetitions"]
    plans = [one["practice"] for one in repetitions if one["practice"] is not None]
    done = [one for one in plans if not one["set_aside"]]
    assert [(one["block_name"], one["feedback"], one["repetition"]) for one in done] == [
        ("Seen", "continuous", 1),
        ("Alone", "none", 1),
    ]
    assert [one["picture_percent"] for one in done] == [100.0, 0.0]
    assert {one["plan"] for one in done} == {"two_ways"}

    assert main(["assess", str(path), "--json"]) == INCOMPLETE
    sheet = json.loads(capsys.readouterr().out)
    ticks = {item["key"]: item["tick"] for item in sheet["checklist"]["item"]}
    assert ticks["stop_agreed"] == "yes"
    assert (len(sheet["repetitions"]), sheet["feedback"]) == (1, "")
    assert sheet["unfinished"] == "the plan asks for 2 repetitions, 1 of them counted"
