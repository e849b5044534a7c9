"""Questions to a rig at rest: each is answered, refused or met by silence; one line says so."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

import firmware_protocol
from acquisition.clock import ManualClock
from acquisition.console import WAITS_S, RigConsole, who_answers
from acquisition.errors import RigError, RigRefuses
from acquisition.transports.base import READ_WAIT_S
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from firmware_protocol.ends import RigEnd
from firmware_protocol.messages import (
    HostMessage,
    Identify,
    Identity,
    Outcome,
    ReadStore,
    Reply,
    RigMessage,
    SelfTest,
    SelfTestResult,
    Stop,
    StoreValue,
    WriteStore,
)


def nobody(_: HostMessage) -> Iterable[RigMessage]:
    return []


Answers = Callable[[HostMessage], Iterable[RigMessage]]


class StubbornRig:
    """A rig at rest that answers as it is told to."""

    name = "stubborn:"
    finished = False

    def __init__(self, identity: Identity, answers: Answers, clock: ManualClock) -> None:
        self.heard: list[HostMessage] = []
        self._identity = identity
        self._answers = answers
        self._clock = clock
        self._rig = RigEnd()
        self.to_read = b""
        self.is_open = False

    def open(self) -> None:
        self.is_open = True

    def close(self) -> None:
        self.is_open = False

    def read(self) -> bytes:
        self._clock.sleep(READ_WAIT_S)
        waiting, self.to_read = self.to_read, b""
        return waiting

    def write(self, data: bytes) -> None:
        for message in self._rig.receive(data):
            assert isinstance(message, HostMessage)
            self.heard.append(message)
            for answer in self._answers(message):
                self.to_read += self._rig.send(answer)


Make = Callable[[Answers], StubbornRig]


@pytest.fixture
def make(identity: Identity, clock: ManualClock) -> Make:
    """A rig that says who it is, stops, and else does what the test says."""

    def made(answers: Answers) -> StubbornRig:
        def all_answers(message: HostMessage) -> Iterable[RigMessage]:
            if isinstance(message, Identify):
                return [Identity(message.request_id, 1, 0, "fw", "R", 1, identity.streams)]
            if isinstance(message, Stop):
                return [Reply(message.request_id, Outcome.DONE)]
            return answers(message)

        return StubbornRig(identity, all_answers, clock)

    return made


@pytest.fixture
def virtual(clock: ManualClock) -> VirtualPort:
    rig = VirtualRig(default_rig(), trainee("E01"))
    return VirtualPort("virtual:", rig, clock=clock)


def test_every_question_has_its_answer(virtual: VirtualPort, clock: ManualClock) -> None:
    with RigConsole(virtual, clock=clock) as rig:
        assert rig.identity.rig_serial == "R01"
        force = rig.stream("force").stream_id
        told = rig.configure(force, 333.0, 7)
        assert (told.rate_hz, told.block_samples) == (333.0, 7)
        assert rig.configuration(force) == type(told)(rig._host.last_request, force, 333.0, 7)
        assert rig.identify().streams[0].rate_hz == 333.0
        assert rig.self_test().passed
        rig.restart_counters()
        rig.write("note", b"one")
        rig.write("other", b"\0" * 900)
        assert rig.stored_keys() == ("note", "other")
        rig.write("note", b"")
        assert (rig.read("note"), rig.read("other")) == (b"", b"\0" * 900)


def test_a_rate_out_of_reach_becomes_the_nearest(virtual: VirtualPort, clock: ManualClock) -> None:
    with RigConsole(virtual, clock=clock) as rig:
        assert rig.configure(1, 1e9).rate_hz == 2000.0
        assert rig.configure(1, -1.0).rate_hz == 10.0
        with pytest.raises(RigRefuses, match=r"the command to configure stream 1: .*no sense"):
            rig.configure(1, float("nan"))


def test_no_is_one_line_that_says_what_and_why(virtual: VirtualPort, clock: ManualClock) -> None:
    with RigConsole(virtual, clock=clock) as rig:
        with pytest.raises(RigRefuses) as no:
            rig.zero_electrical(1)
        assert str(no.value) == (
            "virtual:: the rig refuses the command to balance its amplifiers: "
            "it says that is not possible now"
        )
        with pytest.raises(RigRefuses, match=r"configuration of stream 9: .*no sense"):
            rig.configuration(9)
        with pytest.raises(RigError, match=r"no stream 'pad'; the rig has force, imu"):
            rig.stream("pad")


def test_silence_is_one_line_and_was_asked_about_more_than_once(
    make: Make, clock: ManualClock
) -> None:
    port = make(nobody)
    with RigConsole(port, clock=clock) as rig:
        before_ns = clock.now_ns()
        with pytest.raises(RigError, match=r"the rig is silent: .*'key'.* in 3 s; is it powered"):
            rig.read("key")

    assert (clock.now_ns() - before_ns) * 1e-9 == pytest.approx(3.0, abs=0.1)
    asked = [message for message in port.heard if isinstance(message, ReadStore)]
    assert len({message.request_id for message in asked}) == len(asked) == 3
    assert not port.is_open


def test_a_lost_answer_is_asked_for_again_and_a_late_one_is_not_taken(
    make: Make, clock: ManualClock
) -> None:
    """The answer to the first question comes with that to the second, and is another one."""
    asked: list[int] = []

    def answers(message: HostMessage) -> Iterable[RigMessage]:
        asked.append(message.request_id)
        if len(asked) == 1:
            return []
        return [StoreValue(asked[0], "k", b"old"), StoreValue(asked[1], "k", b"new")]

    with RigConsole(make(answers), clock=clock) as rig:
        assert rig.read("k") == b"new"


def test_an_answer_of_another_kind_is_none(make: Make, clock: ManualClock) -> None:
    port = make(lambda message: [Reply(message.request_id, Outcome.DONE)])

    with RigConsole(port, clock=clock) as rig, pytest.raises(RigError, match=r"silent"):
        rig.self_test()
    assert len([message for message in port.heard if isinstance(message, SelfTest)]) == 2


@pytest.mark.parametrize(
    ("number", "said"), [(1, "bring in a newer one"), (3, "not possible now"), (200, "CODE_200")]
)
def test_every_outcome_but_done_is_a_refusal(
    make: Make, clock: ManualClock, number: int, said: str
) -> None:
    port = make(lambda message: [Reply(message.request_id, Outcome(number))])

    with RigConsole(port, clock=clock) as rig, pytest.raises(RigRefuses, match=said):
        rig.write("k", b"v")
    assert len([message for message in port.heard if isinstance(message, WriteStore)]) == 1


def test_asking_a_port_sends_no_byte_that_another_device_could_take_for_a_command(
    identity: Identity, clock: ManualClock
) -> None:
    class Listening(StubbornRig):
        def write(self, data: bytes) -> None:
            written.append(data)
            super().write(data)

    written: list[bytes] = []
    with pytest.raises(RigError, match="silent"):
        who_answers(Listening(identity, nobody, clock), clock=clock)

    assert len(written) == 4
    assert set(b"".join(written)) <= {0x00, 0x01, 0x07, *range(0xA0, 0x100)}


def test_a_line_on_which_nobody_answers_is_closed_again(
    identity: Identity, clock: ManualClock
) -> None:
    port = StubbornRig(identity, nobody, clock)

    with pytest.raises(RigError, match=r"no answer to the question who it is in 5.5 s"):
        RigConsole(port, clock=clock).__enter__()
    assert not port.is_open


def test_the_waits_are_those_of_the_document() -> None:
    law = Path(str(firmware_protocol.__file__)).with_name("PROTOCOL.md").read_text("utf-8")
    rows = re.findall(r"^\| ([A-Z][\w, ]+) \| ([\d.,a-z ]+) \| (\d) times \|$", law, re.MULTILINE)
    told = {
        name: (tuple(float(one) for one in re.findall(r"[\d.]+", waits)), int(times))
        for names, waits, times in rows
        for name in names.split(", ")
    }

    assert len(told) >= len(WAITS_S)
    for kind, waits_s in WAITS_S.items():
        waits, times = told[kind.__name__]
        assert times == len(waits_s)
        assert waits_s == (waits * times if len(waits) == 1 else waits)


def test_asking_who_is_there_says_nothing_else(make: Make, clock: ManualClock) -> None:
    port = make(nobody)

    assert who_answers(port, clock=clock).rig_serial == "R"
    assert [type(message) for message in port.heard] == [Identify]
    assert not port.is_open


def test_chatter_without_a_frame_is_told_from_silence(
    identity: Identity, clock: ManualClock
) -> None:
    port = StubbornRig(identity, nobody, clock)
    port.to_read = b"$GPGGA,120000.00,,,,,0\r\n"

    with pytest.raises(RigError, match=r"24 bytes came that are no frames: wrong baud rate"):
        who_answers(port, clock=clock)


def test_what_a_rig_says_of_itself_steers_no_terminal_and_begins_no_line(
    identity: Identity, clock: ManualClock
) -> None:
    def answers(message: HostMessage) -> Iterable[RigMessage]:
        number = message.request_id
        if isinstance(message, Identify):
            return [Identity(number, 1, 0, "fw\x1b[2J\npass", "R", 1, identity.streams)]
        if isinstance(message, SelfTest):
            return [SelfTestResult(number, False, "a\x07\tb")]
        return [Reply(number, Outcome.DONE)]

    with RigConsole(StubbornRig(identity, answers, clock), clock=clock) as console:
        assert console.identity.firmware_version == "fw\ufffd[2J\ufffdpass"
        assert console.self_test().detail == "a\ufffd\ufffdb"


def test_noise_is_told_from_silence(identity: Identity, clock: ManualClock) -> None:
    port = StubbornRig(identity, nobody, clock)
    port.to_read = b"\xff\x13\0" * 7

    with pytest.raises(RigError, match=r"7 pieces of noise were heard: wrong baud rate"):
        who_answers(port, clock=clock)
