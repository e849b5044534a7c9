"""Whole reads at once and frame by frame: two ways to hear, one outcome, whatever came."""

from __future__ import annotations

import dataclasses
import itertools
import random
import zlib
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquisition.blocks import StreamBlock
from acquisition.clock import ManualClock
from acquisition.intake import Intake
from acquisition.link import SILENT_EVENT, Link, News
from acquisition.recording.model import Event
from acquisition.transports.scripted import ScriptedTransport
from firmware_protocol.codec import encode
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import FrameDecoder, encode_frame, open_frame
from firmware_protocol.messages import Identity, Message, SampleBlock, Status, StreamSpec
from firmware_protocol.runs import BlockRun

Harm = Callable[[bytearray, random.Random], None]


def flip(line: bytearray, dice: random.Random) -> None:
    line[dice.randrange(len(line))] ^= 1 << dice.randrange(8)


def lose(line: bytearray, dice: random.Random) -> None:
    at = dice.randrange(len(line) - 1)
    del line[at : at + dice.choice([1, 30, 400])]


def double(line: bytearray, dice: random.Random) -> None:
    at = dice.randrange(len(line))
    line[at:at] = line[at : at + dice.choice([1, 30, 400])]


def hear_noise(line: bytearray, dice: random.Random) -> None:
    at = dice.randrange(len(line))
    line[at:at] = dice.randbytes(dice.choice([1, 30, 1500]))


HARMS: tuple[Harm, ...] = (flip, lose, double, hear_noise)


def oddities(block: SampleBlock) -> list[Message]:
    """What a frame may hold that is whole, and yet not plainly the next block."""
    later = dataclasses.replace(block, device_time_us=block.device_time_us + 3)
    return [
        dataclasses.replace(block, sequence=block.sequence + 1),
        dataclasses.replace(block, device_time_us=0),
        dataclasses.replace(block, device_time_us=2**63),
        dataclasses.replace(block, span_us=2**32 - 1),
        dataclasses.replace(block, data=block.data + block.data),
        dataclasses.replace(block, sample_count=1, data=block.data[: len(block.data) // 20]),
        dataclasses.replace(block, stream_id=77),
        later,
        Status(block.device_time_us, True, 5),
        Status(block.device_time_us, True, block.sequence),
        Status(0, True, 5),
        Status(2**63, True, 5),
        Status(block.device_time_us, False, 5),
    ]


def conversation(
    dice: random.Random, make_raw: Any, streams: tuple[StreamSpec, ...]
) -> list[bytes]:
    """Some seconds of two streams as frames, steady or not, now and then with something odd."""
    frames = []
    jitter_us = dice.choice([0, 3])
    for number in range(dice.choice([3, 40, 200])):
        for stream in streams:
            block = make_raw(stream, number * 20)
            block = dataclasses.replace(block, span_us=block.span_us - dice.randint(0, jitter_us))
            said = [block]
            if dice.random() < 0.02:
                said = [dice.choice(oddities(block)), *dice.choice([[], [block]])]
            frames += [encode_frame(encode(message)) for message in said]
            if dice.random() < 0.01:
                frames.append(encode_frame(dice.choice([b"\x90", b"\x90\x01", b"\x77\x01"])))
            if dice.random() < 0.01:
                dice.shuffle(frames)
    return frames


def cut(line: bytes, dice: random.Random) -> list[bytes]:
    size = dice.choice([50, 700, 5000, 100_000])
    edges = [0]
    while edges[-1] < len(line):
        edges.append(edges[-1] + dice.randint(1, size))
    return [line[a:b] for a, b in itertools.pairwise(edges)]


@dataclasses.dataclass
class Heard:
    """All that a link made of a line, with the blocks of each stream joined."""

    columns: dict[tuple[int, int], list[Any]]
    wire: dict[tuple[int, int], list[SampleBlock]]
    others: list[News]
    counts: Any
    rates: Any
    state: Any


def heard(reads: list[bytes], identity: Identity) -> Heard:
    clock = ManualClock()
    port = ScriptedTransport(identity, reads, clock=clock, endless=True)
    link = Link(port, clock=clock, patience_s=None)
    result = Heard({}, {}, [], None, [], None)
    for _ in range(len(reads) + 20):
        clock.advance(link.step())
        for item in link.take_news():
            _keep(item, result)
        result.rates.append({i: t.rate_hz for i, t in link.intake.trackers.items()})
    result.counts, result.state = link.intake.counts, (link.state, link.intake.device_time_us)
    return result


def _keep(item: News, result: Heard) -> None:
    if isinstance(item, Event) and item.kind in {SILENT_EVENT, "heard"}:
        return  # who is silent is looked at after each read, wherever that ends
    if not isinstance(item, StreamBlock):
        result.others.append(item)
        return
    numbers = item.sample_number + np.arange(len(item))
    key = (item.segment, item.spec.stream_id)
    rows = np.column_stack([numbers, item.device_time_us, item.counts]).tolist()
    result.columns.setdefault(key, []).extend(rows)
    result.wire.setdefault(key, []).extend(item.wire_blocks())


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 2**32), harms=st.integers(0, 6))
def test_both_ways_hear_the_same_on_a_damaged_line_cut_anywhere(
    make_raw: Any, identity: Identity, seed: int, harms: int
) -> None:
    dice = random.Random(seed)
    line = bytearray(b"".join(conversation(dice, make_raw, identity.streams)))
    for _ in range(harms):
        dice.choice(HARMS)(line, dice)
    reads = cut(bytes(line), dice)

    at_once = heard(reads, identity)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Intake, "take_run", lambda *_: None)
        patch.setattr("firmware_protocol.framing.open_sealed", one_by_one)
        by_frame = heard(reads, identity)

    assert at_once == by_frame


def one_by_one(raws: list[bytes]) -> list[Any]:
    opened = [open_frame(raw) for raw in raws if raw]
    return [sealed(item) if isinstance(item, bytes) else item for item in opened]


def sealed(payload: bytes) -> bytes:
    return payload + zlib.crc32(payload).to_bytes(4, "little")


def test_a_whole_read_is_one_block_of_arrays_for_each_stream(
    make_raw: Any, identity: Identity
) -> None:
    """So that the test above does compare two ways."""
    blocks = [make_raw(spec, n * 20) for n in range(30) for spec in identity.streams]
    (run,) = HostEnd().receive_runs(b"".join(encode_frame(encode(b)) for b in blocks))
    assert isinstance(run, BlockRun)
    intake = Intake()
    intake.begin_segment(identity.streams)

    taken = intake.take_run(run, 5)

    assert taken is not None
    assert [(b.spec.name, len(b), b.arrival_ns) for b in taken] == [
        ("force", 600, 5),
        ("imu", 600, 5),
    ]
    assert [*taken[0].wire_blocks()] == blocks[::2]
    assert intake.counts.frames == 60


def test_a_run_that_is_not_plain_changes_nothing(make_raw: Any, identity: Identity) -> None:
    blocks = [make_raw(spec, n * 20) for n in (0, 2) for spec in identity.streams]
    (run,) = HostEnd().receive_runs(b"".join(encode_frame(encode(b)) for b in blocks))
    assert isinstance(run, BlockRun)
    intake = Intake()
    intake.begin_segment(identity.streams)

    assert intake.take_run(run, 5) is None
    assert (intake.counts.frames, intake.block_ns, intake.device_time_us) == (0, None, 0)


def test_a_checksum_of_nothing_is_not_taken_for_a_whole_frame() -> None:
    """Four zeros have the residue of a whole frame, and no payload."""
    whole = encode_frame(b"hello")

    found = FrameDecoder().feed(bytes.fromhex("010101010100") + whole)

    assert [isinstance(item, bytes) for item in found] == [False, True]


def test_statuses_among_the_blocks_do_not_cut_a_read_into_pieces(
    make_raw: Any, identity: Identity
) -> None:
    messages: list[Message] = []
    for number in range(30):
        blocks = [make_raw(spec, number * 20) for spec in identity.streams]
        status = Status(blocks[0].device_time_us, True, number)
        messages += [*blocks, *([status] if number % 10 == 0 else [])]
    messages.append(Status(9_000_000, True, 40))
    (run,) = HostEnd().receive_runs(b"".join(encode_frame(encode(m)) for m in messages))
    assert isinstance(run, BlockRun)
    intake = Intake()
    intake.begin_segment(identity.streams)

    taken = intake.take_run(run, 5)

    assert taken is not None
    assert [len(block) for block in taken] == [600, 600]
    assert intake.counts.frames == 64
    assert intake.counts.rig_overrun_samples == 40
    assert intake.device_time_us == 9_000_000
