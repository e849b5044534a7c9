"""The instructor's checklist at the rig: each answer is in the recording."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acquisition.recording.model import Event
from acquisition.recording.reader import read_recording
from ui.live.practice.checklist import Tick, load_checklist
from ui.live.practice.ticking import TickingModel, ticked_in


@pytest.fixture
def said() -> list[tuple[str, str]]:
    return []


@pytest.fixture
def model(said: list[tuple[str, str]]) -> TickingModel:
    return TickingModel(load_checklist(), lambda kind, text: said.append((kind, text)))


def answers(model: TickingModel) -> list[Tick]:
    return [item.tick for item in model.checklist.items]


def test_an_item_goes_from_open_over_yes_and_no_to_open(
    model: TickingModel, said: list[tuple[str, str]]
) -> None:
    model.show_or_hide()
    seen = []
    for _ in range(4):
        seen.append(answers(model)[1])
        model.turn(2)

    assert seen == [Tick.OPEN, Tick.YES, Tick.NO, Tick.OPEN]
    assert said[1] == (
        "checklist", '{"checklist":"standard","key":"hand_below","tick":"no"}'
    )  # fmt: skip
    assert answers(model)[0] is Tick.OPEN


def test_a_list_that_nobody_sees_cannot_be_answered_by_mistake(
    model: TickingModel, said: list[tuple[str, str]]
) -> None:
    model.turn(1)

    assert answers(model)[0] is Tick.OPEN
    assert not said


@pytest.mark.parametrize("number", [0, 6, 99])
def test_a_number_that_is_on_no_list_does_nothing(
    model: TickingModel, said: list[tuple[str, str]], number: int
) -> None:
    model.show_or_hide()

    model.turn(number)

    assert not said


def test_what_was_answered_before_and_while_recording_is_in_the_recording(
    bench: Callable[..., Any],
) -> None:
    one = bench("virtual:?trainee=T01&seed=7&reps=0")
    ticking = TickingModel(load_checklist(), one.feed.note_event)
    ticking.show_or_hide()

    def go_on(seconds: float) -> None:
        for _ in range(round(seconds / 0.1)):
            one.go_on(0.1)
            ticking.look(one.trainer.refresh())

    go_on(0.5)
    ticking.turn(1)
    one.feed.toggle_recording()
    go_on(1.0)
    ticking.turn(4)
    ticking.turn(4)
    go_on(0.5)
    one.feed.toggle_recording()
    path: Path | None = one.feed.saved
    assert path is not None

    found = ticked_in(read_recording(path).events, load_checklist())

    assert [item.tick for item in found.items] == [
        Tick.YES, Tick.OPEN, Tick.OPEN, Tick.NO, Tick.OPEN
    ]  # fmt: skip


def test_what_is_answered_afterwards_counts_and_strange_events_do_not() -> None:
    texts = [
        '{"checklist":"standard","key":"hand_below","tick":"yes"}',
        '{"checklist":"standard","key":"slow_asked","tick":"yes"}',
        '{"checklist":"another","key":"scapula_held","tick":"yes"}',
        '{"checklist":"standard","key":"is_gone","tick":"yes"}',
        '{"checklist":"standard","key":"stop_agreed","tick":"maybe"}',
        "\ud800",
    ]
    events = [Event(0, 0, "checklist", text) for text in texts]

    found = ticked_in(events, load_checklist().ticked({"hand_below": Tick.NO}))

    ticks = {item.key: item.tick for item in found.items if item.tick is not Tick.OPEN}
    assert ticks == {"hand_below": Tick.NO, "slow_asked": Tick.YES}
