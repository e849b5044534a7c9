"""The window on a virtual rig that runs faster than time, and its keys."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QWidget
from pytestqt.qtbot import QtBot

from acquisition.recording.reader import read_recording
from acquisition.transports.virtual import VirtualPort
from ui.desktop.force_gauge import ForceGauge
from ui.desktop.map_view import MapView
from ui.desktop.status_lines import RecordingLine, StatusLine, TroubleLine
from ui.desktop.upward_bar import UpwardBar
from ui.desktop.verdict_line import VerdictLine
from ui.desktop.window import TrainerWindow
from ui.live.push import PushState

Maker = Callable[..., TrainerWindow]
WAIT_MS = 20_000
QUICK = "virtual:?trainee=T01&seed=7&speed=4"


def text(window: TrainerWindow, kind: type[QLabel]) -> str:
    return str(window.panel(kind).text())


def wait_for(qtbot: QtBot, window: TrainerWindow, kind: type[QLabel], words: str) -> None:
    qtbot.waitUntil(lambda: words in text(window, kind), timeout=WAIT_MS)


def test_it_shows_a_direction_and_its_upward_part(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)

    wait_for(qtbot, one, VerdictLine, "less upward")

    assert one.panel(MapView).word == ""
    assert one.panel(UpwardBar).text.startswith("+")
    assert one.panel(ForceGauge).text.endswith(" N")
    assert "streaming" in text(one, StatusLine)


def test_it_says_so_when_nothing_comes_any_more(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK + "&faults=silence:4")
    qtbot.waitUntil(lambda: one.panel(MapView).word == PushState.NO_CONTACT.value, timeout=WAIT_MS)

    qtbot.waitUntil(lambda: one.panel(MapView).word == PushState.NO_DATA.value, timeout=WAIT_MS)

    assert one.panel(ForceGauge).text == "—"
    assert one.panel(UpwardBar).text == "—"


def test_a_pulled_cable_shows_on_top_and_blocks_nothing(
    window: Maker, qtbot: QtBot, pulled: Callable[[str], VirtualPort]
) -> None:
    port = QUICK + "&faults=unplug:3"
    one = window(port, pulled(port))

    wait_for(qtbot, one, TroubleLine, "cable is pulled")

    assert one.isEnabled()


def test_r_records_a_file_that_reads_back(window: Maker, qtbot: QtBot, tmp_path: Path) -> None:
    one = window(QUICK)

    QTest.keyClick(one, Qt.Key.Key_R)
    wait_for(qtbot, one, RecordingLine, "0:01")
    QTest.keyClick(one, Qt.Key.Key_Space)
    wait_for(qtbot, one, TroubleLine, "moment marked")
    QTest.keyClick(one, Qt.Key.Key_R)
    wait_for(qtbot, one, TroubleLine, "saved and checked")

    (path,) = tmp_path.rglob("*.h5")
    recording = read_recording(path)
    assert len(recording.streams["force"].counts) > 1000
    assert "mark" in [event.kind for event in recording.events]
    assert "not recording" in text(one, RecordingLine)


def test_closing_in_mid_recording_saves_it(window: Maker, qtbot: QtBot, tmp_path: Path) -> None:
    one = window(QUICK)
    QTest.keyClick(one, Qt.Key.Key_R)
    wait_for(qtbot, one, RecordingLine, "rows")

    one.close()

    (path,) = tmp_path.rglob("*.h5")
    assert read_recording(path).status == "complete"


def test_z_with_a_hand_on_is_refused_in_words(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)
    wait_for(qtbot, one, VerdictLine, "less upward")

    QTest.keyClick(one, Qt.Key.Key_Z)

    wait_for(qtbot, one, TroubleLine, "no zero")


def test_q_closes_it(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)

    QTest.keyClick(one, Qt.Key.Key_Q)

    qtbot.waitUntil(lambda: not one.isVisible(), timeout=WAIT_MS)


def test_f11_fills_the_screen_and_escape_leaves_it(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)

    QTest.keyClick(one, Qt.Key.Key_F11)
    assert one.isFullScreen()
    QTest.keyClick(one, Qt.Key.Key_Escape)

    assert not one.isFullScreen()


@pytest.mark.parametrize(
    ("side", "left", "right"), [("right", "medial", "lateral"), ("left", "lateral", "medial")]
)
def test_the_map_is_mirrored_for_a_left_rig_and_by_v(
    window: Maker, qtbot: QtBot, side: str, left: str, right: str
) -> None:
    one = window(f"{QUICK}&side={side}")
    view = one.panel(MapView)
    assert view.sides == (f"◂ {left}", f"{right} ▸")

    QTest.keyClick(one, Qt.Key.Key_V)

    assert view.sides == (f"◂ {right}", f"{left} ▸")


@pytest.mark.parametrize("size", [(1280, 800), (1024, 768)])
def test_everything_has_its_place(window: Maker, size: tuple[int, int]) -> None:
    """Nothing is wider than what it stands in, at laptop size too."""
    one = window(QUICK)
    one.resize(*size)

    body = one.findChild(QWidget, "body")
    assert body is not None
    children = [child for child in body.findChildren(QWidget) if child.isVisible()]

    assert (one.width(), one.height()) == size
    for child in children:
        assert child.width() >= min(child.minimumSizeHint().width(), 1), child
        corner = child.mapTo(body, child.rect().bottomRight())
        assert body.rect().contains(corner), child
    for label in one.findChildren(QLabel):
        if label.text():
            assert label.fontMetrics().height() <= label.height(), label.text()
