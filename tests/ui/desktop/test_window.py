"""The window on a virtual rig that runs faster than time, and its keys."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from acquisition.recording.reader import read_recording
from ui.desktop.gauge import Gauge, Scale
from ui.desktop.grab import grab_window
from ui.desktop.window import TrainerWindow
from ui.live.screen import PushState

Maker = Callable[..., TrainerWindow]
WAIT_MS = 20_000
QUICK = "virtual:?trainee=T01&seed=7&speed=4"


def press(window: TrainerWindow, key: Qt.Key) -> None:
    QTest.keyClick(window, key)


def shown(window: TrainerWindow) -> str:
    return window.verdict_text


def test_it_shows_a_direction(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)

    qtbot.waitUntil(lambda: "lower: no upward push" in shown(one), timeout=WAIT_MS)


def test_it_says_so_when_nothing_comes_any_more(window: Maker, qtbot: QtBot) -> None:
    one = window("virtual:?trainee=T01&seed=7&speed=4&faults=silence:4")

    qtbot.waitUntil(lambda: shown(one) == PushState.NO_CONTACT.value, timeout=WAIT_MS)
    qtbot.waitUntil(lambda: shown(one) == PushState.NO_DATA.value, timeout=WAIT_MS)


def test_r_records_a_file_that_reads_back(window: Maker, qtbot: QtBot, tmp_path: Path) -> None:
    one = window(QUICK)

    press(one, Qt.Key.Key_R)
    qtbot.waitUntil(lambda: "recording 1 s" in one.banner_text, timeout=WAIT_MS)
    press(one, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: "marked" in one.banner_text, timeout=WAIT_MS)
    press(one, Qt.Key.Key_R)
    qtbot.waitUntil(lambda: "saved and checked" in one.banner_text, timeout=WAIT_MS)

    (path,) = tmp_path.glob("*.h5")
    assert len(read_recording(path).streams["force"].counts) > 1000


def test_z_without_a_rest_is_refused_in_words(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)
    qtbot.waitUntil(lambda: "upward push" in shown(one), timeout=WAIT_MS)

    press(one, Qt.Key.Key_Z)

    qtbot.waitUntil(lambda: "no zero" in one.banner_text, timeout=WAIT_MS)


def test_q_closes_it_and_ends_everything(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)

    press(one, Qt.Key.Key_Q)

    qtbot.waitUntil(lambda: not one.isVisible(), timeout=WAIT_MS)


def test_f11_fills_the_screen_and_escape_leaves_it(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)

    press(one, Qt.Key.Key_F11)
    assert one.isFullScreen()
    press(one, Qt.Key.Key_Escape)

    assert not one.isFullScreen()


@pytest.mark.parametrize(
    ("value", "text"), [(float("nan"), "—"), (-3.6, "−4°"), (-0.2, "+0°"), (12.4, "+12°")]
)
def test_a_gauge_says_its_number(qtbot: QtBot, value: float, text: str) -> None:
    gauge = Gauge(Scale("Upward", "°", -20, 20, (-20, 2), (0,), signed=True))
    qtbot.addWidget(gauge)

    gauge.show_value(value, "")

    assert gauge.text == text


def test_a_grabbed_picture_has_its_size_and_something_on_it(qtbot: QtBot, tmp_path: Path) -> None:
    path = tmp_path / "window.png"

    grab_window(path, "virtual:?trainee=T01&seed=7", seconds=6.0, size=(1024, 768))

    image = QImage(str(path))
    assert (image.width(), image.height()) == (1024, 768)
    colours = {image.pixel(x, y) for x in range(0, 1024, 8) for y in range(0, 768, 8)}
    assert len(colours) > 10
