"""From plugging in to the review, without a window, on the virtual rig faster than time."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from acquisition.errors import PortError
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.rig import RigDescription
from acquisition.virtual_rig import default_rig
from analysis.rig_check import self_test_finding
from analysis.target import Target
from analysis.trial import QualityFinding
from ui.live.flow import VIRTUAL, Choice, Flow, Say, Stage, Ways
from ui.live.practice.run import plans

QUICK = "virtual:?trainee=T01&seed=7&reps=0&speed=4"
WAIT_S = 30.0


def no_ports() -> Sequence[Choice]:
    return ()


def right_rig(url: str, description: Path | None) -> RigDescription:
    return default_rig("right")


def passes(url: str, rig: RigDescription, target: Target, say: Say) -> Iterator[QualityFinding]:
    say("hands off")
    yield self_test_finding(passed=True, detail="bridges 1.0 mV/V")


def until(flow: Flow, true: Callable[[], bool]) -> None:
    """Look, as a screen does, until something is so."""
    pause = threading.Event()
    for _ in range(int(WAIT_S / 0.02)):
        flow.look()
        if true():
            return
        pause.wait(0.02)
    pytest.fail(f"waited in vain at {flow.stage}: {flow.message or flow.doing}")


def at_rest(flow: Flow) -> None:
    until(flow, lambda: not flow.doing)


@pytest.fixture
def flow(tmp_path: Path) -> Iterator[Callable[..., Flow]]:
    """Return a maker of flows; closed afterwards."""
    made: list[Flow] = []

    def make(ways: Ways | None = None) -> Flow:
        ways = ways or Ways(no_ports, right_rig, passes)
        made.append(Flow(ways, out_dir=tmp_path, target=Target()))
        return made[-1]

    yield make
    for one in made:
        one.close()


@pytest.fixture
def at_zero(flow: Callable[..., Flow]) -> Flow:
    """Return a flow whose line is open."""
    one = flow()
    one.choose(QUICK)
    at_rest(one)
    one.open_line()
    at_rest(one)
    assert one.stage is Stage.ZERO, one.message
    return one


@pytest.fixture
def at_who(at_zero: Flow) -> Flow:
    """Return a flow that asks who practises."""

    def zeroed() -> bool:
        at_zero.zero()
        return at_zero.stage is Stage.HOME

    def home() -> bool:
        at_zero.confirm_home()
        return at_zero.stage is Stage.WHO

    until(at_zero, zeroed)
    until(at_zero, home)
    return at_zero


def test_the_ports_found_come_before_the_virtual_rigs(flow: Callable[..., Flow]) -> None:
    port = Choice("serial:/dev/ttyACM0", "rig R01")
    one = flow(Ways(lambda: (port,), right_rig, passes))

    one.find_ports()
    at_rest(one)

    assert one.choices == (port, *VIRTUAL)


def test_a_port_without_a_rig_is_told_and_the_choice_stays(flow: Callable[..., Flow]) -> None:
    def refuses(url: str, description: Path | None) -> RigDescription:
        raise PortError(f"{url}: nobody answers")

    one = flow(Ways(no_ports, refuses, passes))
    one.choose("serial:/dev/ttyACM9")
    at_rest(one)

    assert one.stage is Stage.CHOOSE
    assert one.message == "serial:/dev/ttyACM9: nobody answers"


def test_the_self_test_tells_what_it_found_and_what_to_do(flow: Callable[..., Flow]) -> None:
    one = flow()
    one.choose(QUICK)
    at_rest(one)
    assert one.stage is Stage.SELF_TEST
    assert not one.tested

    one.test()
    at_rest(one)

    assert one.tested
    assert [finding.key for finding in one.findings] == ["self_test"]


def test_there_is_no_zero_while_a_hand_pushes(at_zero: Flow) -> None:
    feed = at_zero.trainer.feed if at_zero.trainer else None
    assert feed is not None
    refusals: list[str] = []

    def refused() -> bool:
        at_zero.stage = Stage.ZERO
        at_zero.zero()
        refusals.append(at_zero.message)
        return "hand" in at_zero.message

    until(at_zero, refused)

    assert at_zero.stage is Stage.ZERO
    assert refusals[-1].startswith("no zero: ")


@pytest.mark.parametrize(
    ("person", "plan", "words"),
    [
        ("", "", "a code is needed"),
        ("Anna", "", "is no code"),
        ("T07", "no_such_plan", "no_such_plan"),
    ],
)
def test_a_bad_code_or_plan_is_told_and_nobody_practises(
    at_who: Flow, person: str, plan: str, words: str
) -> None:
    at_who.begin(TrialLabel(person=person), plan)

    assert at_who.stage is Stage.WHO
    assert words in at_who.message


def test_a_recording_is_measured_for_review_and_the_next_person_follows(at_who: Flow) -> None:
    plan = plans()[0][0]
    at_who.begin(TrialLabel(person="T07", condition="with_feedback"), plan)
    trainer = at_who.trainer
    assert trainer is not None
    assert trainer.practice is not None

    def recorded_a_while() -> bool:
        trainer.refresh()
        return trainer.feed.state().recording.rows > 40_000

    until(at_who, recorded_a_while)
    at_who.end_practice()
    at_rest(at_who)

    assert at_who.trial is not None, at_who.message
    assert at_who.recorded is not None
    assert read_recording(at_who.recorded).label.person == "T07"
    at_who.next_person()
    assert at_who.stage is Stage.WHO
    assert at_who.label == TrialLabel(condition="with_feedback")
    at_who.begin(TrialLabel(person="T08"), "")
    assert at_who.recorded is None


def test_who_recorded_nothing_makes_room_for_the_next(at_who: Flow) -> None:
    at_who.begin(TrialLabel(person="T07"), "")

    at_who.end_practice()

    assert at_who.stage is Stage.WHO


def test_going_back_lets_go_of_the_line(at_who: Flow) -> None:
    at_who.back()

    assert at_who.stage is Stage.CHOOSE
    assert at_who.trainer is None


def test_closing_stops_a_test_that_runs(flow: Callable[..., Flow]) -> None:
    running = threading.Event()

    def endless(
        url: str, rig: RigDescription, target: Target, say: Say
    ) -> Iterator[QualityFinding]:
        while True:
            say("hands off")
            running.set()
            yield self_test_finding(passed=True, detail="")

    one = flow(Ways(no_ports, right_rig, endless))
    one.choose(QUICK)
    at_rest(one)
    one.test()
    assert running.wait(WAIT_S)

    one.close()

    assert not one.tested
