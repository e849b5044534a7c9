"""Two views of one session, and what the window remembers of how it looks."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from acquisition.recording.reader import read_recording
from ui.desktop import look
from ui.desktop.above_view import AboveView
from ui.desktop.force_gauge import ForceGauge
from ui.desktop.map_view import MapView
from ui.desktop.outside_view import OutsideView
from ui.desktop.status_lines import RecordingLine, TroubleLine
from ui.desktop.traces import Traces
from ui.desktop.verdict_line import LargeVerdict, VerdictLine
from ui.desktop.view_body import View
from ui.desktop.window import TrainerWindow
from ui.live.feed import VIEW_EVENT
from ui.live.preferences import Memory, Preferences

Maker = Callable[..., TrainerWindow]
WAIT_MS = 20_000
MEDIA_BOX = re.compile(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]")
QUICK = "virtual:?trainee=T01&seed=7&speed=4"


def test_t_changes_between_the_two_views_of_one_feed(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)
    assert one.panel(Traces).isVisible()

    QTest.keyClick(one, Qt.Key.Key_T)

    assert one.view is View.TRAINEE
    with pytest.raises(StopIteration):
        one.panel(Traces)
    qtbot.waitUntil(lambda: "less upward" in one.panel(LargeVerdict).text(), timeout=WAIT_MS)
    assert one.panel(AboveView).text.endswith("°")
    assert one.panel(OutsideView).text.startswith("+")


def test_a_second_window_shows_the_same_moment_and_goes_with_the_first(
    window: Maker, qtbot: QtBot
) -> None:
    one = window(QUICK)

    QTest.keyClick(one, Qt.Key.Key_W)

    second = one.second
    assert second is not None
    assert second.body.view is View.TRAINEE
    gauge = second.body.panel(ForceGauge)
    qtbot.waitUntil(lambda: gauge.text not in ("—", "0 N"), timeout=WAIT_MS)
    one.refresh()
    assert gauge.text == one.panel(ForceGauge).text

    one.close()

    assert not second.isVisible()


def test_w_closes_the_second_window_again_and_keys_work_in_it(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)
    QTest.keyClick(one, Qt.Key.Key_W)
    second = one.second
    assert second is not None

    QTest.keyClick(second, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: "marked" in one.panel(TroubleLine).text(), timeout=WAIT_MS)
    QTest.keyClick(second, Qt.Key.Key_W)

    assert one.second is None
    assert one.isVisible()


class Screen:
    """A screen as far as a window asks."""

    def geometry(self) -> QRect:
        return QRect(1280, 0, 800, 600)


def test_the_second_window_fills_another_screen_and_leaves_it_by_its_own_keys(
    window: Maker, qtbot: QtBot
) -> None:
    one = window("virtual:?trainee=T01&seed=7")
    QTest.keyClick(one, Qt.Key.Key_W)
    second = one.second
    assert second is not None
    assert not second.isFullScreen()

    second.show_on([one.screen(), Screen()], one.screen())  # type: ignore[list-item] # as far as asked
    assert second.isFullScreen()
    QTest.keyClick(second, Qt.Key.Key_Escape)
    assert not second.isFullScreen()
    QTest.keyClick(second, Qt.Key.Key_F11)
    assert second.isFullScreen()
    assert not one.isFullScreen()


def test_the_trainee_sees_no_feedback_while_it_is_hidden_but_the_instructor_does(
    window: Maker,
) -> None:
    one = window(QUICK)
    instructor, trainee = one.panel(MapView), None
    QTest.keyClick(one, Qt.Key.Key_W)
    assert one.second is not None
    body = one.second.body
    trainee = body.panel(MapView)

    body.show_feedback(shown=False, instead="afterwards")
    assert not trainee.isVisible()
    assert not body.panel(LargeVerdict).isVisible()
    assert body.panel(RecordingLine).isVisible()
    assert instructor.isVisible()
    assert "afterwards" in [label.text() for label in body.findChildren(QLabel)]

    body.show_feedback(shown=True)
    assert trainee.isVisible()


def test_the_viewpoint_is_remembered_and_stands_in_every_recording(
    window: Maker, qtbot: QtBot, tmp_path: Path
) -> None:
    memory = Memory(tmp_path / "kept" / "window.toml")
    one = window(QUICK, memory=memory)
    QTest.keyClick(one, Qt.Key.Key_R)
    qtbot.waitUntil(lambda: "rows" in one.panel(RecordingLine).text(), timeout=WAIT_MS)

    QTest.keyClick(one, Qt.Key.Key_V)
    qtbot.waitUntil(lambda: "0:01" in one.panel(RecordingLine).text(), timeout=WAIT_MS)
    one.close()

    assert Memory.at(tmp_path / "kept" / "window.toml").now == Preferences(front=True)
    (path,) = tmp_path.rglob("*.h5")
    told = [event.text for event in read_recording(path).events if event.kind == VIEW_EVENT]
    assert told == ["seen from behind", "seen from the front"]


def test_text_grows_and_shrinks_within_bounds(window: Maker) -> None:
    one = window(QUICK)
    usual = one.panel(VerdictLine).font().pointSizeF()
    height = one.panel(ForceGauge).sizeHint().height()

    one.larger_text()
    assert one.panel(VerdictLine).font().pointSizeF() == pytest.approx(1.1 * usual)
    assert one.panel(ForceGauge).sizeHint().height() > height

    for _ in range(20):
        one.smaller_text()
    assert one.panel(VerdictLine).font().pointSizeF() == pytest.approx(0.8 * usual)


def test_dark_is_ink_on_dark_paper_and_readable(window: Maker) -> None:
    one = window(QUICK)
    QTest.keyClick(one, Qt.Key.Key_D, Qt.KeyboardModifier.ControlModifier)

    picture = one.grab().toImage()

    assert picture.pixelColor(4, 4) == look.PAPER
    assert look.PAPER.lightness() < 60


def luminance(name: str) -> float:
    parts = [int(name[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("palette", [look.LIGHT, look.DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ink", ["INK", "QUIET", "GOOD", "BAD"])
def test_what_is_written_stands_out_from_its_ground(palette: dict[str, str], ink: str) -> None:
    """Contrast of text at least 4.5 to 1: WCAG 2.1, success criterion 1.4.3 (from memory)."""
    light, dark = sorted((luminance(palette[ink]), luminance(palette["PAPER"])), reverse=True)

    assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_s_saves_the_view_as_pixels_and_as_lines(
    window: Maker, qtbot: QtBot, tmp_path: Path
) -> None:
    one = window(QUICK)
    qtbot.waitUntil(lambda: "less upward" in one.panel(VerdictLine).text(), timeout=WAIT_MS)

    QTest.keyClick(one, Qt.Key.Key_S)

    (pixels,), (lines,) = tmp_path.glob("*.png"), tmp_path.glob("*.pdf")
    assert QImage(str(pixels)).width() == one.width()
    content = lines.read_bytes()
    assert content.startswith(b"%PDF-")
    assert b"/Font" in content
    width, height = (float(side) for side in MEDIA_BOX.search(content).groups())  # type: ignore[union-attr] # fails the test
    assert width / height == pytest.approx(one.width() / one.height(), rel=0.01)


def test_a_picture_that_cannot_be_saved_is_told(
    window: Maker, qtbot: QtBot, tmp_path: Path
) -> None:
    one = window(QUICK)
    one.trainer.feed.out_dir = tmp_path / "not there"

    QTest.keyClick(one, Qt.Key.Key_S)

    qtbot.waitUntil(lambda: "no picture" in one.panel(TroubleLine).text(), timeout=WAIT_MS)
