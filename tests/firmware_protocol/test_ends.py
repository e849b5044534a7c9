"""Both ends: what each may say, what it takes from the other, and request numbers."""

from __future__ import annotations

import itertools

import pytest

from firmware_protocol.codec import Malformed, encode
from firmware_protocol.ends import HostEnd, RigEnd
from firmware_protocol.errors import ProtocolMisuse
from firmware_protocol.framing import FrameFault, encode_frame
from firmware_protocol.messages import (
    ChannelSpec,
    Identify,
    Identity,
    Outcome,
    Reply,
    SampleBlock,
    SampleType,
    Start,
    Status,
    Stop,
    StreamSpec,
)

IDENTITY = Identity(
    1,
    1,
    0,
    "fw",
    "R01",
    1,
    (StreamSpec(1, "force", SampleType.INT16, 1e3, (ChannelSpec("fx", "count", 1.0, -100, 100),)),),
)


@pytest.fixture
def rig() -> RigEnd:
    return RigEnd()


@pytest.fixture
def host(rig: RigEnd) -> HostEnd:
    """A host that knows its rig."""
    end = HostEnd()
    end.receive(rig.send(IDENTITY))
    return end


def test_host_and_rig_understand_each_other(rig: RigEnd) -> None:
    host = HostEnd()
    block = SampleBlock(1, 0, 10, 0, 1, b"\x01\x00")

    (asked,) = rig.receive(host.identify())
    assert isinstance(asked, Identify)
    assert host.receive(rig.send(IDENTITY)) == [IDENTITY]
    assert host.identity == IDENTITY

    (started,) = rig.receive(host.start())
    assert isinstance(started, Start)
    reply = Reply(started.request_id, Outcome.DONE)
    assert host.receive(rig.send(reply) + rig.send(block)) == [reply, block]

    assert isinstance(rig.receive(host.stop())[0], Stop)


def test_asking_who_is_there_ends_whatever_noise_was_before(rig: RigEnd) -> None:
    noise, asked = rig.receive(b"boot v0.1\r\n" + HostEnd().identify())

    assert isinstance(noise, FrameFault)
    assert isinstance(asked, Identify)


def test_the_question_who_is_there_says_nothing_to_another_device(host: HostEnd) -> None:
    """No XON, no XOFF, no break, no escape, no letter for a device with one-letter commands."""
    asked = [host.identify() for _ in range(5)]
    host.start()

    for frame in (*asked, host.identify(), HostEnd().identify()):
        assert frame[:3] == b"\0\x07\x01"
        assert frame[-1:] == b"\0"
        assert min(frame[3:-1]) >= 0xA0
    for one, other in itertools.pairwise(asked):
        assert one != other


def test_request_numbers_count_up_and_never_are_zero(host: HostEnd, rig: RigEnd) -> None:
    heard = [item for _ in range(300) for item in rig.receive(host.start())]

    numbers = [item.request_id for item in heard if isinstance(item, Start)]
    assert numbers == [*range(1, 256), *range(1, 46)]
    assert host.last_request == numbers[-1]


def test_the_latest_identity_is_kept(host: HostEnd, rig: RigEnd) -> None:
    again = Identity(2, 1, 0, "fw", "R01", 2, ())

    host.receive(rig.send(again))

    assert host.identity == again


@pytest.mark.parametrize("verb", ["start", "stop"])
def test_commanding_a_rig_nobody_knows_is_misuse(verb: str) -> None:
    with pytest.raises(ProtocolMisuse, match="identify first"):
        getattr(HostEnd(), verb)()


@pytest.mark.parametrize("verb", ["start", "stop"])
def test_commanding_a_rig_of_another_major_is_misuse(verb: str) -> None:
    host = HostEnd()
    (identity,) = host.receive(encode_frame(b"\x81\x01\x02\x00 all its own"))

    assert identity == host.identity == Identity(1, 2, 0, "", "", 0, ())
    with pytest.raises(ProtocolMisuse, match="speaks protocol 2, we speak 1"):
        getattr(host, verb)()


@pytest.mark.parametrize("message", [Identify(1), Start(1), Stop(1), "hello", None])
def test_a_rig_may_not_say_what_a_host_says(rig: RigEnd, message: object) -> None:
    with pytest.raises(ProtocolMisuse, match=f"may not say {type(message).__name__}"):
        rig.send(message)  # type: ignore[arg-type]  # the misuse under test


def test_an_echo_of_our_own_commands_is_malformed_not_a_command(host: HostEnd) -> None:
    payload = encode(Start(1)) + b"more"

    assert host.receive(encode_frame(payload)) == [
        Malformed("Start is for the other end to say", payload)
    ]


def test_a_rig_that_hears_a_rig_does_not_obey_it(rig: RigEnd) -> None:
    status = Status(0, True, 0)

    assert rig.receive(rig.send(status)) == [
        Malformed("Status is for the other end to say", encode(status))
    ]
    assert rig.receive(rig.send(IDENTITY)) == [
        Malformed("Identity is for the other end to say", encode(IDENTITY))
    ]


def test_an_identity_in_the_mirror_does_not_make_a_rig_known() -> None:
    host = HostEnd()

    host.receive(host.identify())

    assert host.identity is None
