"""The condition of practice reaches the repetitions, through the events of a recording."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from acquisition.recording.model import Event, Recording
from acquisition.session import MAX_EVENT_BYTES
from acquisition.virtual_rig.sensors import SensorModel
from analysis.event_times import event_times_s
from analysis.pipeline import analyse
from analysis.practice import PRACTICE_EVENT, PracticeEvent, Practised

Maker = Callable[..., Any]
QUICK = SensorModel(force_rate_hz=250.0, imu_rate_hz=125.0)
OFFSET_US = 5_000_000
"""Of the rig's clock in the recordings of the fixture, which arrive at once."""


@pytest.fixture(scope="module")
def two(told: Maker) -> Recording:
    """Return two repetitions: home again at 29 s and at 60 s, the second begins at 37 s."""
    recording: Recording = told("right", 3, "E01", repetitions=2, model=QUICK).recording
    return recording


def event(at_s: float, kind: str, text: str) -> Event:
    return Event(round((at_s * 1e6 + OFFSET_US) * 1000), 0, kind, text)


def told_at(at_s: float, what: Practised, number: int = 1, **more: Any) -> Event:
    fields: dict[str, Any] = {
        "plan": "faded",
        "plan_sha256": "ab" * 32,
        "block": 1,
        "block_name": "Fading",
        "repetition": number,
        "number": number,
        "of_blocks": 1,
        "of_repetitions": 9,
        "feedback": "faded",
    } | more
    return event(at_s, PRACTICE_EVENT, PracticeEvent(what=what, **fields).to_text())


def practised(recording: Recording, *events: Event) -> list[Any]:
    trial = analyse(replace(recording, events=tuple(events)))
    return [one.practice for one in trial.repetitions]


def test_without_a_plan_nothing_is_said(two: Recording) -> None:
    trial = analyse(two)

    assert [one.practice for one in trial.repetitions] == [None, None]
    assert trial.repetitions[0].to_dict()["practice"] is None


def test_each_repetition_carries_what_was_due_when_it_was_done(two: Recording) -> None:
    first, second = practised(
        two,
        told_at(1.0, Practised.ARMED, 1, picture=True),
        told_at(30.0, Practised.ARMED, 2, picture=False),
    )

    assert (first.plan, first.feedback, first.number) == ("faded", "faded", 1)
    assert (first.picture_percent, second.picture_percent) == (100.0, 0.0)
    assert (second.block_name, second.repetition) == ("Fading", 2)


def test_what_is_armed_late_still_belongs_to_the_repetition_before_it_turns(two: Recording) -> None:
    """A trainee who goes up again at once is told of as soon as the last one is measured."""
    start_s = analyse(two).repetitions[1].measured.values["start_s"]
    assert isinstance(start_s, float)

    _, second = practised(
        two, told_at(1.0, Practised.ARMED), told_at(start_s + 1.0, Practised.ARMED, 2)
    )

    assert second.number == 2


def test_the_share_of_the_movement_with_the_picture_is_told(two: Recording) -> None:
    whole = analyse(two).repetitions[0].measured.values
    start_s, end_s = whole["start_s"], whole["end_s"]
    assert isinstance(start_s, float)
    assert isinstance(end_s, float)

    first, _ = practised(
        two,
        told_at(1.0, Practised.ARMED),
        told_at(start_s + 0.25 * (end_s - start_s), Practised.PICTURE, picture=True),
        told_at(start_s + 0.75 * (end_s - start_s), Practised.PICTURE, picture=False),
    )

    assert first.picture_percent == pytest.approx(50.0, abs=0.5)


def test_a_repetition_that_does_not_count_says_why(two: Recording) -> None:
    first, second = practised(
        two,
        told_at(1.0, Practised.ARMED),
        told_at(30.0, Practised.AGAIN, reason="the phone rang"),
        told_at(30.1, Practised.ARMED),
    )

    assert first.set_aside == "the phone rang"
    assert (second.number, second.set_aside) == (1, "")


def test_a_card_is_noted_on_all_the_repetitions_it_told_of(two: Recording) -> None:
    first, second = practised(
        two,
        told_at(1.0, Practised.ARMED, 1, feedback="summary"),
        told_at(30.0, Practised.ARMED, 2, feedback="summary"),
        told_at(61.0, Practised.CARD, 2, feedback="summary", covers=2, reason="summary"),
    )

    assert (first.card, second.card) == ("summary", "summary")


def test_what_is_done_in_a_pause_or_after_the_end_belongs_to_no_plan(two: Recording) -> None:
    paused = practised(two, told_at(1.0, Practised.PAUSED), told_at(30.0, Practised.ARMED))
    ended = practised(two, told_at(1.0, Practised.ARMED), told_at(30.0, Practised.ENDED))

    assert [one and one.number for one in paused] == [None, 1]
    assert [one and one.number for one in ended] == [1, None]


@pytest.mark.parametrize("text", ["", "{", '{"what":"armed"}', '{"what":"danced"}', "[1, 2]"])
def test_an_event_that_cannot_be_read_is_passed_over(two: Recording, text: str) -> None:
    first, _ = practised(two, told_at(1.0, Practised.ARMED), event(2.0, PRACTICE_EVENT, text))

    assert first.plan == "faded"


def test_it_is_in_the_json(two: Recording) -> None:
    trial = analyse(replace(two, events=(told_at(1.0, Practised.ARMED),)))

    assert trial.to_dict()["repetitions"][0]["practice"] == {
        "plan": "faded",
        "plan_sha256": "ab" * 32,
        "block": 1,
        "block_name": "Fading",
        "repetition": 1,
        "number": 1,
        "of_blocks": 1,
        "of_repetitions": 9,
        "feedback": "faded",
        "picture_percent": 0.0,
        "card": "",
        "set_aside": "",
    }


@pytest.mark.parametrize("reason", ["x" * 5000, "\0" * 5000, "€" * 5000, "\ud800" * 300])
def test_a_long_or_odd_reason_is_cut_so_that_the_event_fits(reason: str) -> None:
    told = told_at(0.0, Practised.SKIPPED, reason=reason, block_name="€" * 80)

    assert len(told.text.encode()) <= MAX_EVENT_BYTES
    assert "\0" not in told.text


def test_an_event_between_two_blocks_is_timed_by_the_host(two: Recording) -> None:
    """The rig's clock as last heard may be a block old: the host's clock bridges that."""
    late = replace(two, events=(event(10.0005, "mark", ""), event(10.0031, "mark", "")))

    assert event_times_s(late, float(OFFSET_US)) == pytest.approx([10.0005, 10.0031], abs=1e-5)


def test_an_event_before_the_first_sample_is_earlier_than_it(two: Recording) -> None:
    early = replace(two, events=(event(-2.0, "mark", ""),))

    assert event_times_s(early, float(OFFSET_US)) == pytest.approx([-2.0], abs=1e-5)
