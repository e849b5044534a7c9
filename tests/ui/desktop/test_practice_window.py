"""A plan, a stop drill and sound in the window, as a person meets them."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from ui.cli.live import practice_of
from ui.desktop.after_card import AfterCard
from ui.desktop.map_view import MapView
from ui.desktop.practice_line import PlaceLine, PracticeLine
from ui.desktop.status_lines import TroubleLine
from ui.desktop.stop_banner import DrillLine, StopBanner
from ui.desktop.view_body import View
from ui.desktop.window import TrainerWindow, first_view
from ui.live.practice.sound import Sound
from ui.live.practice.stop_drill import CALL, DrillState

Maker = Callable[..., TrainerWindow]
WAIT_MS = 40_000
QUICK = "virtual:?trainee=T01&seed=7&speed=8&top=60&reps=0"


def key(window: TrainerWindow, which: Qt.Key) -> None:
    QTest.keyClick(window, which)


def test_a_plan_is_followed_to_its_first_card(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)
    practice_of("first_lesson", sound=False)(one.trainer)
    qtbot.waitUntil(lambda: "repetition 1 of 5" in one.panel(PracticeLine).text(), timeout=WAIT_MS)

    qtbot.waitUntil(lambda: one.panel(AfterCard).isVisible(), timeout=WAIT_MS)

    assert one.panel(AfterCard).text.startswith("repetition 1\n")
    assert "repetition 2 of 5" in one.panel(PracticeLine).text()


def test_in_a_test_the_trainee_sees_no_picture_the_instructor_does(
    window: Maker, qtbot: QtBot
) -> None:
    one = window(QUICK)
    practice_of("retention", sound=False)(one.trainer)
    qtbot.waitUntil(lambda: bool(one.panel(PracticeLine).text()), timeout=WAIT_MS)
    assert one.panel(MapView).isVisible()

    key(one, Qt.Key.Key_T)
    one.refresh()

    assert not one.panel(MapView).isVisible()


def test_p_pauses_the_plan_and_goes_on(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)
    practice_of("faded", sound=False)(one.trainer)

    key(one, Qt.Key.Key_P)
    one.refresh()
    assert one.panel(PracticeLine).text().endswith("paused")
    key(one, Qt.Key.Key_P)
    one.refresh()

    assert not one.panel(PracticeLine).text().endswith("paused")


def test_d_arms_a_stop_drill_that_is_called_over_the_picture_and_told(
    window: Maker, qtbot: QtBot
) -> None:
    one = window("virtual:?trainee=E01&seed=7&speed=8&top=120&reps=0")
    key(one, Qt.Key.Key_D)
    one.refresh()
    assert one.panel(DrillLine).text() == DrillState.ARMED.value

    qtbot.waitUntil(lambda: one.panel(StopBanner).isVisible(), timeout=WAIT_MS)
    assert one.panel(StopBanner).text() == CALL
    qtbot.waitUntil(lambda: not one.panel(StopBanner).isVisible(), timeout=WAIT_MS)

    assert "reaction: " in one.panel(DrillLine).text()


def test_m_says_so_where_there_is_nothing_to_play_on(window: Maker, qtbot: QtBot) -> None:
    def broken() -> None:
        raise OSError("no card")

    one = window(QUICK)
    one.trainer.sound = Sound(broken)  # type: ignore[arg-type] # it never comes to a player

    key(one, Qt.Key.Key_M)
    one.refresh()

    assert "no sound" in one.panel(TroubleLine).text()


def test_a_picture_that_the_plan_hides_counts_as_seen_while_only_the_instructor_s_view_is_there(
    window: Maker, qtbot: QtBot
) -> None:
    one = window(QUICK)
    practice_of("retention", sound=False)(one.trainer)
    practice = one.trainer.practice
    assert practice is not None
    qtbot.waitUntil(lambda: bool(one.panel(PracticeLine).text()), timeout=WAIT_MS)
    assert practice.look(one.trainer.refresh()).seen_anyway
    one.refresh()
    assert "counts as seen" in one.panel(PlaceLine).text()
    assert practice.look(one.trainer.refresh()).feedback_visible

    key(one, Qt.Key.Key_T)
    one.refresh()

    assert not practice.look(one.trainer.refresh()).seen_anyway
    assert not practice.look(one.trainer.refresh()).feedback_visible


def test_a_second_screen_keeps_the_instructor_s_picture_apart(
    window: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = window(QUICK)
    practice_of("retention", sound=False)(one.trainer)
    key(one, Qt.Key.Key_W)
    one.refresh()
    practice = one.trainer.practice
    assert practice is not None
    assert practice.look(one.trainer.refresh()).seen_anyway  # both are on the one screen

    monkeypatch.setattr(one.second, "screen", lambda: "another")
    one.refresh()

    assert one.view is View.INSTRUCTOR
    assert not practice.look(one.trainer.refresh()).seen_anyway


def test_a_window_opens_in_the_trainee_s_view_where_a_plan_is_followed(window: Maker) -> None:
    one = window(QUICK)
    assert first_view(one.trainer) is View.INSTRUCTOR

    practice_of("retention", sound=False)(one.trainer)

    assert first_view(one.trainer) is View.TRAINEE


def test_where_the_card_is_asked_for_the_foot_switch_asks(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)
    practice_of("on_request", sound=False)(one.trainer)
    practice = one.trainer.practice
    assert practice is not None
    qtbot.waitUntil(lambda: bool(practice.done), timeout=WAIT_MS)
    assert practice.look(one.trainer.refresh()).card is None

    key(one, Qt.Key.Key_Space)

    assert practice.look(one.trainer.refresh()).card is not None
