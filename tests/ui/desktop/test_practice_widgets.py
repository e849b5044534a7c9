"""The card and the line of practice say what their looks say."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from analysis.criteria import Verdict
from analysis.target import Target
from ui.desktop.after_card import AfterCard
from ui.desktop.practice_line import PracticeLine
from ui.desktop.stop_banner import DrillLine, StopBanner
from ui.live.practice.card import Card, CardRow
from ui.live.practice.look import PracticeLook, RunState
from ui.live.practice.stop_drill import CALL, DrillLook, DrillState

ONE = Card(
    title="repetition 2",
    numbers=(2,),
    advice="Slow down.",
    change=True,
    where="from 20° to 40° on the way up",
    rows=(
        CardRow("speed", "≤ 30°/s", (Verdict.NOT_MET,), ("41°/s",), ("",)),
        CardRow("hold", "≥ 95 %", (Verdict.UNKNOWN,), ("—",), ("<b>nobody</b> knows",)),
    ),
)
LOOK = PracticeLook(
    state=RunState.READY,
    title="Mine",
    block=1,
    blocks=2,
    block_name="three",
    repetition=1,
    repetitions=3,
    feedback="none",
    feedback_visible=False,
    instead="",
    say="Slowly.",
    card=None,
    may_ask=False,
)


def card(qtbot: QtBot) -> AfterCard:
    made = AfterCard(Target(), "right")
    qtbot.addWidget(made)
    return made


def test_a_card_is_there_only_while_there_is_something_to_say(qtbot: QtBot) -> None:
    widget = card(qtbot)
    assert widget.isHidden()

    widget.show_look(ONE)
    assert not widget.isHidden()
    assert widget.text == "repetition 2\n▲ Slow down.\nfrom 20° to 40° on the way up"

    widget.show_look(None)
    assert widget.isHidden()


def test_good_news_has_another_sign(qtbot: QtBot) -> None:
    widget = card(qtbot)

    widget.show_look(replace(ONE, advice="Nothing to change.", change=False, where=""))

    assert "● Nothing to change." in widget.text


def test_a_remark_cannot_change_how_the_card_looks(qtbot: QtBot) -> None:
    widget = card(qtbot)

    widget.show_look(ONE)

    table = widget.findChildren(QLabel)[-1].text()
    assert "&lt;b&gt;nobody&lt;/b&gt; knows" in table
    assert "✗" in table
    assert table.count("—") == 1


def test_a_long_summary_keeps_the_newest_repetitions(qtbot: QtBot) -> None:
    widget = card(qtbot)
    rows = (CardRow("speed", "≤ 30°/s", (Verdict.MET,) * 20, ("9°/s",) * 20, ("",) * 20),)

    widget.show_look(replace(ONE, numbers=tuple(range(1, 21)), rows=rows))
    widget.show()

    assert widget.width() < 1280


def test_the_line_says_the_place_and_what_is_to_be_done(qtbot: QtBot) -> None:
    line = PracticeLine(Target(), "right")
    qtbot.addWidget(line)

    line.show_look(LOOK)
    assert line.text() == "block 1 of 2: three · repetition 1 of 3 · Slowly."
    line.show_look(None)
    assert line.text() == ""


def test_a_call_to_stop_lies_over_the_picture_while_it_is_called(qtbot: QtBot) -> None:
    banner, line = StopBanner(Target(), "right"), DrillLine(Target(), "right")
    qtbot.addWidget(banner)
    qtbot.addWidget(line)
    armed = DrillLook(DrillState.ARMED, "", None, ())

    banner.show_look(armed)
    line.show_look(armed)
    assert banner.isHidden()
    assert line.text() == "a stop will be called"

    banner.show_look(DrillLook(DrillState.CALLED, CALL, None, ()))
    assert not banner.isHidden()
    assert banner.text() == CALL

    done = DrillLook(DrillState.DONE, "", None, ("reaction: 310 ms",))
    banner.show_look(done)
    line.show_look(done)
    assert banner.isHidden()
    assert line.text() == "stop drill done · reaction: 310 ms"
