"""A closed window does nothing any more."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QTimer
from pytestqt.qtbot import QtBot

from ui.desktop.verdict_line import VerdictLine
from ui.desktop.window import TrainerWindow


def running_timers(window: TrainerWindow) -> list[QTimer]:
    return [timer for timer in window.findChildren(QTimer) if timer.isActive()]


def test_no_timer_runs_on_after_closing(window: Callable[..., TrainerWindow], qtbot: QtBot) -> None:
    one = window("virtual:?trainee=T01&seed=7&speed=4")
    qtbot.waitUntil(lambda: one.panel(VerdictLine).text() != "", timeout=20_000)
    assert running_timers(one)

    one.close()

    assert running_timers(one) == []
