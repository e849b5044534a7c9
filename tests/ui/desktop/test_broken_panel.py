"""A panel that fails says so in its place; the others, and the recording, go on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from acquisition.recording.reader import read_recording
from ui.desktop.force_gauge import ForceGauge
from ui.desktop.status_lines import RecordingLine, TroubleLine
from ui.desktop.window import TrainerWindow
from ui.live.moment import Moment
from ui.live.superior import SuperiorModel

Maker = Callable[..., TrainerWindow]
WAIT_MS = 20_000
QUICK = "virtual:?trainee=T01&seed=7&speed=4"


def fail(*_: object) -> None:
    raise ZeroDivisionError("a panel broke")


def test_a_broken_widget_is_put_out_of_service_and_the_recording_goes_on(
    window: Maker, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = window(QUICK)
    QTest.keyClick(one, Qt.Key.Key_R)
    qtbot.waitUntil(lambda: "rows" in one.panel(RecordingLine).text(), timeout=WAIT_MS)

    monkeypatch.setattr(one.panel(ForceGauge), "show_look", fail)
    qtbot.waitUntil(
        lambda: any("this panel failed" in label.text() for label in one.findChildren(QLabel)),
        timeout=WAIT_MS,
    )
    qtbot.waitUntil(lambda: "a panel broke" in one.panel(TroubleLine).text(), timeout=WAIT_MS)
    before = one.panel(RecordingLine).text()
    qtbot.waitUntil(lambda: one.panel(RecordingLine).text() != before, timeout=WAIT_MS)
    one.close()

    (path,) = tmp_path.rglob("*.h5")
    assert read_recording(path).status == "complete"


def test_a_broken_model_is_asked_no_more_and_told_once(
    window: Maker, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []

    def break_down(self: SuperiorModel, moment: Moment) -> None:
        asked.append(moment)
        raise ZeroDivisionError("a model broke")

    monkeypatch.setattr(SuperiorModel, "look", break_down)
    one = window(QUICK)

    qtbot.waitUntil(lambda: "a model broke" in one.panel(TroubleLine).text(), timeout=WAIT_MS)
    for _ in range(3):
        one.refresh()

    assert len(asked) == 1
