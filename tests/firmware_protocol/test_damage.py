"""A line that harms what passes: nothing false comes out, little is lost, memory is bounded."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.codec import Malformed
from firmware_protocol.ends import HostEnd, RigEnd
from firmware_protocol.framing import MAX_FRAME_BYTES, FrameFault
from firmware_protocol.messages import (
    ChannelSpec,
    Identity,
    RigMessage,
    SampleBlock,
    SampleType,
    Status,
    StreamSpec,
)

LAST = Status(999_999, False, 0)
Harm = Callable[[bytearray, random.Random], None]


def flip_a_bit(line: bytearray, rng: random.Random) -> None:
    line[rng.randrange(len(line))] ^= 1 << rng.randrange(8)


def change_a_byte(line: bytearray, rng: random.Random) -> None:
    line[rng.randrange(len(line))] ^= rng.randrange(1, 256)


def lose_a_byte(line: bytearray, rng: random.Random) -> None:
    del line[rng.randrange(len(line))]


def double_a_byte(line: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(line))
    line.insert(at, line[at])


def insert_a_byte(line: bytearray, rng: random.Random) -> None:
    line.insert(rng.randrange(len(line) + 1), rng.randrange(256))


def swap_neighbours(line: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(line) - 1)
    line[at], line[at + 1] = line[at + 1], line[at]


def lose_a_stretch(line: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(line))
    del line[at : at + rng.randrange(1, 400)]


def hear_another_device(line: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(line))
    line[at:at] = rng.choice([b"$SENSOR,12.5,ok*7F\r\n", b"\r\n\r\nboot v2 ...\r\n", b"AT+NAME?\r"])


def hear_noise(line: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(line))
    line[at:at] = rng.randbytes(rng.randrange(1, 3000))


ONE_BYTE: tuple[Harm, ...] = (
    flip_a_bit,
    change_a_byte,
    lose_a_byte,
    double_a_byte,
    insert_a_byte,
)
EVERY: tuple[Harm, ...] = (
    *ONE_BYTE,
    swap_neighbours,
    lose_a_stretch,
    hear_another_device,
    hear_noise,
)


def conversation(rng: random.Random) -> list[RigMessage]:
    """What a rig says: its identity and then blocks of two streams and its status."""
    channel = ChannelSpec("fx", "count", 1.0, -(2**23), 2**23 - 1)
    table = (
        StreamSpec(1, "force", SampleType.INT32, 1000.0, (channel,) * 3),
        StreamSpec(2, "imu", SampleType.INT16, 500.0, (channel,) * 6),
    )
    said: list[RigMessage] = [Identity(1, 1, 0, "fw", "R01", 1, table)]
    for number in range(12):
        time_us = number * 10_000
        counts = b"".join(
            rng.randint(-400, 400).to_bytes(4, "little", signed=True) for _ in "x" * 30
        )
        said.append(SampleBlock(1, number * 10, time_us, 9000, 10, counts))
        said.append(SampleBlock(2, number * 5, time_us, 8000, 5, rng.randbytes(60)))
    return [*said, Status(120_000, True, 0)]


def heard(line: bytes, rng: random.Random) -> list[RigMessage | FrameFault | Malformed]:
    """Hear a line in pieces of any size; memory stays bounded all the time."""
    host = HostEnd()
    found: list[RigMessage | FrameFault | Malformed] = []
    at = 0
    while at < len(line):
        size = rng.choice([1, 7, 64, 500, 5000])
        found += host.receive(line[at : at + size])
        at += size
        assert len(host._decoder._tail) <= MAX_FRAME_BYTES
    return found


@pytest.mark.parametrize("harm", EVERY, ids=lambda harm: harm.__name__)
def test_nothing_false_is_heard_on_a_harmed_line(harm: Harm) -> None:
    """Chance of a false frame in all of it: under one in a million (2**-32 for each harmed)."""
    rng = random.Random(harm.__name__)
    rig = RigEnd()

    for _ in range(60):
        said = conversation(rng)
        line = bytearray(b"".join(map(rig.send, said)))
        for _ in range(rng.randint(1, 8)):
            harm(line, rng)
        found = heard(bytes(line) + b"\0" + rig.send(LAST), rng)

        whole = [item for item in found if not isinstance(item, FrameFault | Malformed)]
        left = iter([*said, LAST])
        assert all(item in left for item in whole), "something was invented, or out of order"
        assert whole[-1] == LAST, "the first frame behind a delimiter must be heard again"


@pytest.mark.parametrize("harm", ONE_BYTE, ids=lambda harm: harm.__name__)
def test_one_harmed_byte_costs_at_most_two_frames(harm: Harm) -> None:
    rng = random.Random(harm.__name__)
    rig = RigEnd()
    said = conversation(rng)
    unharmed = b"".join(map(rig.send, said))

    for _ in range(400):
        line = bytearray(unharmed)
        harm(line, rng)
        found = HostEnd().receive(bytes(line) + b"\0")

        whole = [item for item in found if not isinstance(item, FrameFault | Malformed)]
        assert len(whole) >= len(said) - 2


def test_the_harms_do_harm() -> None:
    """So that the tests above can see something: every kind spoils a frame now and then."""
    rig = RigEnd()

    for harm in EVERY:
        rng = random.Random(harm.__name__)
        line = bytearray(b"".join(map(rig.send, conversation(rng))))
        for _ in range(8):
            harm(line, rng)
        faults = [i for i in HostEnd().receive(bytes(line)) if isinstance(i, FrameFault)]
        assert faults, harm.__name__


@given(st.lists(st.binary(max_size=1500), max_size=6))
def test_noise_is_never_an_error_to_either_end(pieces: list[bytes]) -> None:
    host, rig = HostEnd(), RigEnd()

    for piece in pieces:
        host.receive(piece)
        rig.receive(piece)


def test_of_noise_not_one_piece_in_a_hundred_reaches_the_checksum() -> None:
    """The figure that PROTOCOL.md gives for noise without end; nothing of it is a message."""
    noise = random.Random(2).randbytes(2_000_000)

    found = HostEnd().receive(noise)

    assert all(isinstance(item, FrameFault) for item in found)
    stuffed_well = [i for i in found if isinstance(i, FrameFault) and i.kind.value == "checksum"]
    assert 0 < len(stuffed_well) < len(found) / 100
