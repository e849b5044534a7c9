"""What becomes of a plan when people pause, skip, repeat, ask and hesitate."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from analysis.practice import Practised
from ui.live.practice.look import RunState
from ui.live.practice.plan import Continuous, NoFeedback, OnRequest, Summary
from ui.live.recorder import RecordingState

Maker = Callable[..., Any]
THREE = Continuous(name="three", repetitions=3, say="Slowly.")


def test_a_repetition_counts_once_the_arm_is_home_and_still(puppet: Maker) -> None:
    one = puppet(THREE)

    one.raise_arm()
    assert (one.look.state, one.look.repetition) == (RunState.MOVING, 1)
    one.lower_arm()
    assert one.look.repetition == 1
    one.rest()

    assert (one.look.state, one.look.repetition) == (RunState.READY, 2)
    assert one.look.word == "block 1 of 1: three · repetition 2 of 3"


def test_a_small_lift_is_no_repetition(puppet: Maker) -> None:
    one = puppet(THREE)

    one.repeat(top_deg=20.0)

    assert (one.look.state, one.look.repetition) == (RunState.READY, 1)
    assert one.reasons(Practised.AGAIN) == []


def test_the_word_for_a_block_is_said_before_its_first_repetition(puppet: Maker) -> None:
    one = puppet(THREE)

    assert one.look.say == "Slowly."
    one.raise_arm()
    assert one.look.say == ""


def test_the_card_stays_until_the_arm_leaves_home_again(puppet: Maker) -> None:
    one = puppet(THREE)
    one.repeat()
    one.rest(20.0)

    assert one.look.card is not None
    assert one.look.card.title == "repetition 1"
    one.raise_arm()
    assert one.look.card is None


def test_the_card_makes_room_when_the_hand_is_put_on_again(puppet: Maker) -> None:
    one = puppet(THREE)
    one.repeat()
    assert one.look.card is not None

    one.touch()

    assert one.look.card is None


def test_what_is_done_in_a_pause_does_not_count(puppet: Maker) -> None:
    one = puppet(THREE)
    one.repeat()

    one.run.pause()
    one.repeat()
    assert one.look.state is RunState.PAUSED
    assert not one.look.feedback_visible
    one.run.resume()
    one.rest()

    assert (one.look.state, one.look.repetition) == (RunState.READY, 2)
    assert [event.what for event in one.told[-2:]] == [Practised.PAUSED, Practised.ARMED]


def test_a_pause_on_the_way_leaves_that_repetition_out(puppet: Maker) -> None:
    """Also when practice goes on before the arm is down."""
    one = puppet(THREE)
    one.raise_arm()

    one.run.pause()
    one.run.resume()
    one.lower_arm()
    one.rest()

    assert one.look.repetition == 1
    assert one.reasons(Practised.AGAIN) == [(1, "paused on the way")]


def test_what_began_in_the_pause_is_told_not_to_count(puppet: Maker) -> None:
    """It comes to its top after practice goes on, so the recording alone would count it."""
    one = puppet(THREE)
    one.run.pause()
    one.raise_arm()

    one.run.resume()
    one.lower_arm()
    one.rest()

    assert one.look.repetition == 1
    assert one.reasons(Practised.AGAIN) == [(1, "it began in the pause")]
    one.repeat()
    assert one.look.repetition == 2


def test_a_repetition_can_be_skipped_with_a_reason(puppet: Maker) -> None:
    one = puppet(THREE)

    one.run.skip("sore wrist")
    one.rest()

    assert one.look.repetition == 2
    assert one.reasons(Practised.SKIPPED) == [(1, "sore wrist")]


def test_the_last_repetition_can_be_done_again_with_a_reason(puppet: Maker) -> None:
    one = puppet(THREE)
    one.repeat()

    one.run.repeat("somebody bumped into the table")
    one.rest()
    assert (one.look.repetition, one.look.card) == (1, None)
    one.repeat()

    assert one.look.repetition == 2
    assert one.reasons(Practised.AGAIN) == [(1, "somebody bumped into the table")]


def test_the_very_last_repetition_can_be_done_again_too(puppet: Maker) -> None:
    one = puppet(NoFeedback(name="none", repetitions=1))
    one.repeat()
    assert one.look.state is RunState.FINISHED

    one.run.repeat("the hand slipped")
    one.rest()

    assert (one.look.state, one.look.repetition) == (RunState.READY, 1)


def test_before_the_first_there_is_nothing_to_repeat(puppet: Maker) -> None:
    one = puppet(THREE)

    one.run.repeat("no reason")

    assert one.reasons(Practised.AGAIN) == []


def test_in_a_pause_nothing_is_done_again(puppet: Maker) -> None:
    one = puppet(THREE)
    one.repeat()
    one.run.pause()

    one.run.repeat("by key")
    one.rest()

    assert (one.look.state, list(one.run.done)) == (RunState.PAUSED, [1])


def test_a_plan_can_be_left(puppet: Maker) -> None:
    one = puppet(THREE)

    one.run.end("the lesson is over")
    one.rest()

    assert one.look.state is RunState.FINISHED
    assert one.look.feedback_visible
    assert one.reasons(Practised.ENDED) == [(1, "the lesson is over")]
    one.repeat()
    assert one.run.done == {}


def test_asked_for_at_rest_the_card_comes_at_once(puppet: Maker) -> None:
    one = puppet(OnRequest(name="ask", repetitions=2))
    assert one.run.ask() == "nothing has been done yet"
    one.repeat()
    assert one.look.card is None
    assert one.look.may_ask

    assert one.run.ask() == ""
    one.rest()

    assert one.look.card is not None
    assert one.look.card.title == "repetition 1"
    assert len(one.reasons(Practised.ASKED)) == 1


def test_asked_for_before_it_is_measured_the_card_is_that_of_this_repetition(
    puppet: Maker,
) -> None:
    """The arm is home, but not for a second yet: the last card would be the one before."""
    one = puppet(OnRequest(name="ask", repetitions=3))
    one.repeat()
    one.raise_arm()
    one.lower_arm()
    one.rest(0.3)

    assert one.run.ask() == ""
    assert one.look.card is None
    one.rest()

    assert one.look.card is not None
    assert one.look.card.title == "repetition 2"


def test_the_rest_of_a_block_gets_its_summary_too(puppet: Maker) -> None:
    one = puppet(Summary(name="sum", repetitions=3, after=2))
    titles = []
    for _ in range(3):
        one.repeat()
        titles.append(one.look.card and one.look.card.title)

    assert titles == [None, "repetitions 1 to 2", "repetition 3"]


def test_a_summary_never_reaches_over_the_edge_of_its_block(puppet: Maker) -> None:
    one = puppet(
        Summary(name="a", repetitions=1, after=5), Summary(name="b", repetitions=2, after=5)
    )
    one.repeat()
    one.repeat()
    one.repeat()

    assert one.look.card is not None
    assert one.look.card.numbers == (1, 2)


def test_a_recording_that_begins_in_the_middle_is_told_what_is_due(puppet: Maker) -> None:
    one = puppet(THREE)
    one.repeat()
    before = len(one.told)

    one.rest(1.0, recording=RecordingState(path=Path("new.h5"), seconds=0.1, rows=100))

    (armed,) = one.told[before:]
    assert (armed.what, armed.number, armed.picture) == (Practised.ARMED, 2, True)
