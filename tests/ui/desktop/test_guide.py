"""The screens around practice, by keys alone, on the virtual rig faster than time."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QApplication,
    QLabel,
    QLineEdit,
    QListWidget,
    QProgressBar,
    QWidget,
)
from pytestqt.qtbot import QtBot

from acquisition.rig import RigDescription
from acquisition.virtual_rig import default_rig
from analysis.rig_check import self_test_finding
from analysis.target import Target
from analysis.trial import QualityFinding
from ui.desktop import look
from ui.desktop.guide import SCREENS, GuideWindow
from ui.desktop.screens import SelfTestScreen
from ui.desktop.screens_asking import ChooseScreen, WhoScreen
from ui.live.flow import Choice, Flow, Say, Stage, Ways

QUICK = "virtual:?trainee=T01&seed=7&reps=0&speed=4"
WAIT_MS = 30_000


def quick_port() -> Sequence[Choice]:
    return (Choice(QUICK, "a quick virtual rig"),)


def right_rig(url: str, description: Path | None) -> RigDescription:
    return default_rig("right")


def passes(url: str, rig: RigDescription, target: Target, say: Say) -> Iterator[QualityFinding]:
    say("hands off")
    yield self_test_finding(passed=True, detail="bridges 1.0 mV/V")


@pytest.fixture
def guide(qtbot: QtBot, tmp_path: Path) -> Iterator[GuideWindow]:
    """Return a guide at its first stage; closed afterwards."""
    one = GuideWindow(Flow(Ways(quick_port, right_rig, passes), out_dir=tmp_path, target=Target()))
    qtbot.addWidget(one)
    one.show()
    yield one
    one.close()


def press(guide: GuideWindow, key: Qt.Key) -> None:
    """Press a key where the cursor is."""
    focus = guide.focusWidget() or guide
    QTest.keyClick(focus, key)


def reach(qtbot: QtBot, guide: GuideWindow, stage: Stage) -> None:
    """Press the foot switch until a stage is reached."""

    def there() -> bool:
        if guide.flow.stage is stage:
            return True
        if not guide.flow.doing:
            press(guide, Qt.Key.Key_Space)
        return guide.flow.stage is stage

    qtbot.waitUntil(there, timeout=WAIT_MS)
    guide.refresh()


def test_every_stage_but_practice_has_a_screen() -> None:
    assert set(SCREENS) == set(Stage) - {Stage.PRACTICE}


def test_the_foot_switch_alone_leads_to_the_question_who_practises(
    guide: GuideWindow, qtbot: QtBot
) -> None:
    screen = guide.screens[Stage.CHOOSE]
    assert isinstance(screen, ChooseScreen)
    qtbot.waitUntil(lambda: screen.list.count() == 3, timeout=WAIT_MS)
    screen.list.setCurrentRow(0)

    reach(qtbot, guide, Stage.SELF_TEST)
    reach(qtbot, guide, Stage.ZERO)
    tested = guide.screens[Stage.SELF_TEST]
    assert isinstance(tested, SelfTestScreen)
    assert "bridges 1.0 mV/V" in tested.found.text()
    reach(qtbot, guide, Stage.WHO)

    assert guide.flow.url == QUICK
    assert isinstance(guide.screen_shown, WhoScreen)


def test_a_name_is_refused_and_a_code_begins_practice(guide: GuideWindow, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not guide.flow.doing, timeout=WAIT_MS)
    guide.flow.choose(QUICK)
    reach(qtbot, guide, Stage.WHO)
    who = guide.screen_shown
    assert isinstance(who, WhoScreen)

    QTest.keyClicks(who.person, "Anna")
    QTest.keyClick(who.person, Qt.Key.Key_Return)
    assert guide.flow.stage is Stage.WHO
    assert any("is no code" in label.text() for label in guide.findChildren(QLabel))

    who.person.clear()
    QTest.keyClicks(who.person, "T07")
    QTest.keyClick(who.note, Qt.Key.Key_Space)
    assert guide.flow.stage is Stage.WHO
    QTest.keyClick(who.person, Qt.Key.Key_Space)

    assert guide.practice is not None
    assert guide.practice.isVisible()
    assert not guide.isVisible()
    assert guide.practice.trainer.feed.label.person == "T07"


def test_n_leaves_practice_shows_what_was_recorded_and_asks_for_the_next(
    guide: GuideWindow, qtbot: QtBot
) -> None:
    qtbot.waitUntil(lambda: not guide.flow.doing, timeout=WAIT_MS)
    guide.flow.choose(QUICK)
    reach(qtbot, guide, Stage.WHO)
    who = guide.screen_shown
    assert isinstance(who, WhoScreen)
    QTest.keyClicks(who.person, "T07")
    QTest.keyClick(who.person, Qt.Key.Key_Return)
    practice = guide.practice
    assert practice is not None
    feed = practice.trainer.feed
    qtbot.waitUntil(lambda: feed.state().recording.rows > 40_000, timeout=WAIT_MS)

    QTest.keyClick(practice, Qt.Key.Key_N)
    assert guide.isVisible()
    assert guide.flow.stage is Stage.REVIEW
    qtbot.waitUntil(lambda: not guide.flow.doing, timeout=WAIT_MS)
    assert guide.flow.trial is not None, guide.flow.message
    press(guide, Qt.Key.Key_Space)
    assert guide.review is not None
    assert guide.review.isVisible()
    press(guide, Qt.Key.Key_N)
    guide.refresh()

    assert isinstance(guide.screen_shown, WhoScreen)
    assert who.person.text() == ""


def test_nothing_is_modal(guide: GuideWindow, qtbot: QtBot) -> None:
    reach(qtbot, guide, Stage.SELF_TEST)

    assert QApplication.activeModalWidget() is None


@pytest.mark.parametrize("size", [(1280, 800), (1024, 768)])
def test_every_screen_fits(guide: GuideWindow, qtbot: QtBot, size: tuple[int, int]) -> None:
    guide.resize(*size)
    for screen in guide.screens.values():
        assert screen.minimumSizeHint().width() <= size[0] - 96
        assert guide.minimumSizeHint().height() <= size[1]


def test_a_port_that_fails_leaves_the_choice_open(qtbot: QtBot, tmp_path: Path) -> None:
    flow = Flow(Ways(quick_port, right_rig, passes), out_dir=tmp_path, target=Target())
    guide = GuideWindow(flow)
    qtbot.addWidget(guide)
    qtbot.waitUntil(lambda: not guide.flow.doing, timeout=WAIT_MS)
    guide.flow.choose("serial:/dev/no-such-port")
    qtbot.waitUntil(lambda: not guide.flow.doing, timeout=WAIT_MS)
    assert guide.flow.stage is Stage.SELF_TEST
    guide.flow.open_line()
    qtbot.waitUntil(lambda: not guide.flow.doing, timeout=WAIT_MS)

    assert guide.screen_shown is guide.screens[Stage.SELF_TEST]
    assert "no-such-port" in guide.flow.message
    guide.close()


def test_every_control_and_every_screen_has_a_name(guide: GuideWindow) -> None:
    controls = [
        widget
        for screen in guide.screens.values()
        for widget in screen.findChildren(QWidget)
        if isinstance(widget, QLineEdit | QListWidget | QProgressBar)
    ]

    assert len(controls) == 8
    assert [repr(one) for one in controls if not one.accessibleName()] == []
    assert all(screen.accessibleName() for screen in guide.screens.values())


def test_typing_takes_away_what_was_wrong(guide: GuideWindow, qtbot: QtBot) -> None:
    reach(qtbot, guide, Stage.WHO)
    who = guide.screen_shown
    assert isinstance(who, WhoScreen)
    QTest.keyClick(who.person, Qt.Key.Key_Return)
    assert "code is needed" in guide.flow.message

    QTest.keyClicks(who.person, "T")

    assert guide.flow.message == ""


def test_f5_asks_again_who_is_there(guide: GuideWindow, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not guide.flow.doing, timeout=WAIT_MS)
    guide.flow.choices = guide.flow.choices[:0]

    press(guide, Qt.Key.Key_F5)
    qtbot.waitUntil(lambda: not guide.flow.doing, timeout=WAIT_MS)

    assert QUICK in [one.url for one in guide.flow.choices]


def test_esc_gives_up_a_test_that_runs(qtbot: QtBot, tmp_path: Path) -> None:
    began = threading.Event()

    def endless(
        url: str, rig: RigDescription, target: Target, say: Say
    ) -> Iterator[QualityFinding]:
        while True:
            say("hands off")
            began.set()
            began.wait(0.01)
            yield from ()

    ways = Ways(quick_port, right_rig, endless)
    one = GuideWindow(Flow(ways, out_dir=tmp_path, target=Target()))
    qtbot.addWidget(one)
    one.show()
    try:
        reach(qtbot, one, Stage.SELF_TEST)
        one.go_on()
        assert began.wait(10.0)

        press(one, Qt.Key.Key_Escape)
        qtbot.waitUntil(lambda: one.flow.stage is Stage.CHOOSE, timeout=WAIT_MS)
    finally:
        one.close()


def test_a_change_of_look_reaches_the_screen_that_is_shown(
    guide: GuideWindow, qtbot: QtBot
) -> None:
    reach(qtbot, guide, Stage.SELF_TEST)

    press_with(guide, Qt.Key.Key_D)

    assert isinstance(guide.screen_shown, SelfTestScreen)
    qtbot.waitUntil(guide.screen_shown.isVisible, timeout=WAIT_MS)
    assert guide.screen_shown.palette().window().color() == look.PAPER
    assert look.PAPER.lightnessF() < 0.3


def press_with(guide: GuideWindow, key: Qt.Key) -> None:
    QTest.keyClick(guide, key, Qt.KeyboardModifier.ControlModifier)
