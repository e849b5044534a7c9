"""A cable pulled in the middle of a recording: the window lives, what came before is kept."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from acquisition.recording.reader import read_recording
from acquisition.transports.virtual import VirtualPort
from ui.desktop.status_lines import RecordingLine, TroubleLine
from ui.desktop.window import TrainerWindow

WAIT_MS = 20_000


def test_a_cable_pulled_in_mid_recording_shows_and_what_came_before_is_kept(
    window: Callable[..., TrainerWindow],
    qtbot: QtBot,
    tmp_path: Path,
    pulled: Callable[[str], VirtualPort],
) -> None:
    port = "virtual:?trainee=T01&seed=7&speed=4&faults=unplug:6"
    one = window(port, pulled(port))
    QTest.keyClick(one, Qt.Key.Key_R)
    qtbot.waitUntil(lambda: "rows" in one.panel(RecordingLine).text(), timeout=WAIT_MS)

    qtbot.waitUntil(lambda: "cable" in one.panel(TroubleLine).text(), timeout=WAIT_MS)
    shown = one.view
    QTest.keyClick(one, Qt.Key.Key_T)
    assert one.view is not shown
    one.close()

    (path,) = tmp_path.rglob("*.h5")
    assert len(read_recording(path).streams["force"].counts) > 1000
