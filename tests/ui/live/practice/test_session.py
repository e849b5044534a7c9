"""Whole lessons at the virtual rig, every kind of feedback, recorded and analysed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.practice import Practised
from analysis.trial import Practice
from ui.live.practice.look import PracticeLook, RunState
from ui.live.practice.plan import (
    Bandwidth,
    Continuous,
    Faded,
    NoFeedback,
    OnRequest,
    Summary,
)

Maker = Callable[..., Any]


def practised(path: Path) -> list[Practice]:
    found = [each.practice for each in analyse(read_recording(path)).repetitions]
    return [each for each in found if each is not None]


def finished(look: PracticeLook) -> bool:
    return look.state is RunState.FINISHED


def at(block: int, repetition: int, state: RunState) -> Callable[[PracticeLook], bool]:
    return lambda look: (look.block, look.repetition, look.state) == (block, repetition, state)


def test_every_kind_of_feedback_is_lived_through_and_reaches_the_table(
    lesson: Maker, tmp_path: Path
) -> None:
    """The hand of T01 goes upward beyond its limit from about 42° on, so late in a raise."""
    one = lesson(
        Continuous(name="all", repetitions=1),
        Bandwidth(name="quiet", repetitions=1),
        Faded(name="fade", repetitions=2, first_percent=100, last_percent=0),
        Summary(name="sum", repetitions=3, after=2),
        OnRequest(name="ask", repetitions=2),
        NoFeedback(name="none", repetitions=1),
        port="trainee=T01&seed=7&top=60",
    )
    one.feed.toggle_recording()

    one.go_on_until(at(5, 1, RunState.MOVING), at_most_s=300.0)
    assert one.run.ask() == ""
    one.go_on_until(at(6, 1, RunState.MOVING), at_most_s=100.0)
    assert one.run.ask() == "in this block the card is not asked for"
    last = one.go_on_until(finished, at_most_s=60.0)

    # The picture, while the arm moves.
    def pictures(block: int) -> set[bool]:
        return {look.feedback_visible for look in one.of(block=block, state=RunState.MOVING)}

    assert pictures(1) == {True}
    assert pictures(2) == {True, False}
    assert [pictures(block) for block in (4, 5, 6)] == [{False}] * 3
    fading = one.of(block=3, state=RunState.MOVING)
    assert {(look.repetition, look.feedback_visible) for look in fading} == {(1, True), (2, False)}
    # The cards afterwards.
    cards = [event for event in one.told if event.what is Practised.CARD]
    assert [(event.number, event.covers, event.reason) for event in cards] == [
        (1, 1, "repetition"),
        (2, 1, "repetition"),
        (3, 1, "repetition"),
        (6, 2, "summary"),
        (7, 1, "summary"),
        (8, 1, "asked"),
    ]
    assert last.word == "Mine · the plan is done"
    # The recording.
    one.feed.close()
    (path,) = tmp_path.rglob("*.h5")
    done = practised(path)
    assert [each.feedback for each in done] == [
        "continuous", "bandwidth", "faded", "faded", "summary", "summary", "summary",
        "on_request", "on_request", "none",
    ]  # fmt: skip
    assert [each.number for each in done] == list(range(1, 11))
    assert [each.block_name for each in done[:2]] == ["all", "quiet"]
    shares = [each.picture_percent for each in done]
    assert (shares[0], shares[2]) == (100.0, 100.0)
    assert 5.0 < shares[1] < 90.0
    assert shares[3:] == [0.0] * 7
    assert [each.card for each in done] == [
        *["repetition"] * 3, "", *["summary"] * 3, "asked", "", "",
    ]  # fmt: skip


def test_a_steady_hand_has_a_quiet_screen_and_no_card(lesson: Maker) -> None:
    one = lesson(
        Bandwidth(name="quiet", repetitions=1, tolerance_percent=200),
        port="trainee=E01&seed=2&top=45",
    )

    one.go_on_until(finished)

    assert len(one.run.done) == 1
    assert {look.feedback_visible for look in one.of(state=RunState.MOVING)} == {False}
    assert {look.card for look in one.looks} == {None}


def test_the_card_names_one_thing_its_number_and_where_it_happened(lesson: Maker) -> None:
    one = lesson(Continuous(name="all", repetitions=1), port="trainee=T01&seed=7&top=90")

    card = one.go_on_until(finished).card

    assert card is not None
    assert card.change
    assert card.advice.startswith("Your hand slips upward")
    assert "° on the way" in card.where
    assert [row.label for row in card.rows] == [
        "upward push", "hold", "speed", "direction", "force", "steadiness",
    ]  # fmt: skip
    assert card.rows[0].signs == ("✗",)
    assert card.rows[0].found[0].endswith("°")


def test_a_lost_line_leaves_the_plan_where_it_was(lesson: Maker, tmp_path: Path) -> None:
    """The cable is pulled in the second repetition; plugged in again the rig has restarted."""
    one = lesson(
        Continuous(name="all", repetitions=3), port="trainee=E01&seed=7&top=45&faults=unplug:24"
    )
    one.feed.toggle_recording()

    one.go_on_until(finished, at_most_s=120.0)

    again = [event for event in one.told if event.what is Practised.AGAIN]
    assert [(event.number, event.reason) for event in again] == [(2, "the line was lost")]
    one.feed.close()
    (path,) = tmp_path.rglob("*.h5")
    done = practised(path)
    assert [each.number for each in done if not each.set_aside] == [1, 2, 3]
