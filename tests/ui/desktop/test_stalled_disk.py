"""A disk that stands still freezes no window: it says that nothing comes, and then goes on."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from acquisition.recording.reader import read_recording
from acquisition.recording.writer import RecordingWriter
from ui.desktop.map_view import MapView
from ui.desktop.status_lines import RecordingLine
from ui.desktop.window import TrainerWindow
from ui.live.push import PushState

WAIT_MS = 20_000


def test_a_stalled_disk_shows_and_the_recording_goes_on(
    window: Callable[..., TrainerWindow],
    qtbot: QtBot,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    moves = threading.Event()
    moves.set()
    write = RecordingWriter.on_block

    def write_when_it_moves(self: RecordingWriter, block: object) -> None:
        assert moves.wait(30.0)
        write(self, block)  # type: ignore[arg-type] # passed on as it came

    monkeypatch.setattr(RecordingWriter, "on_block", write_when_it_moves)
    one = window("virtual:?trainee=T01&seed=7&reps=0")
    QTest.keyClick(one, Qt.Key.Key_R)
    qtbot.waitUntil(lambda: "0:01" in one.panel(RecordingLine).text(), timeout=WAIT_MS)

    moves.clear()
    try:
        qtbot.waitUntil(lambda: one.panel(MapView).word == PushState.NO_DATA.value, timeout=WAIT_MS)
        QTest.keyClick(one, Qt.Key.Key_F11)
        assert one.isFullScreen()
    finally:
        moves.set()
    qtbot.waitUntil(lambda: one.panel(MapView).word != PushState.NO_DATA.value, timeout=WAIT_MS)
    one.close()

    (path,) = tmp_path.rglob("*.h5")
    recording = read_recording(path)
    assert recording.status == "complete"
    assert recording.counts.lost_samples == 0
