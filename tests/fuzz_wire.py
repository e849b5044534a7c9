"""A seeded fuzz campaign on the host's ears: ``make fuzz``.

Streams of honest frames are harmed in every way a line knows: flipped, lost, doubled, swapped
and inserted bytes, truncated frames, frames out of order, other devices' chatter, boot messages.
Each is heard twice: by the link as a recording hears it, in reads of any size, whole reads as
arrays; and one frame at a time by the plainest means there are. Nothing may raise, memory must
stay bounded, no sample may be heard that was not sent, every one that is not heard must be
counted, and both ways must hear the same samples and count the same. What the checksum leaves is
1 of 2**32 damaged frames: in a million streams of some ten damaged frames each, one in four
hundred campaigns would see one.
"""

from __future__ import annotations

import argparse
import itertools
import os
import random
import re
import struct
import sys
import time
from collections import Counter, deque
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from acquisition.blocks import StreamBlock
from acquisition.clock import ManualClock
from acquisition.link import Link
from firmware_protocol.codec import Malformed, encode
from firmware_protocol.ends import HostEnd, RigEnd
from firmware_protocol.framing import FrameFault, FrameFaultKind, encode_frame, open_frame
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

Harm = Callable[[bytearray, random.Random], None]
Heard = dict[int, tuple[list[int], bytes]]
"""Of each stream the sample numbers, and counts and times as bytes."""
CHATTER = (
    b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n",
    b"\r\nets Jun  8 2016 00:22:57\r\nrst:0x1 (POWERON_RESET),boot:0x13\r\n",
    b"AT\r\nOK\r\n",
    b"\xff" * 40,
    b"\x55" * 200,
    b"\x01" * 1500,
)
BLOCK_SAMPLES = 4
BLOCKS = 3
"""Of each stream in one half of what is sent."""
PIECE = 10_000
"""Streams that one process does at a time; each piece has dice of its own."""
MAX_FRAME_BYTES = 1033
"""PROTOCOL.md, section 9."""


def _spec(stream_id: int, name: str, kind: SampleType, columns: str) -> StreamSpec:
    channels = tuple(ChannelSpec(c, "count", 1.0, -(2**15), 2**15 - 1) for c in columns.split())
    return StreamSpec(stream_id, name, kind, 1000.0, channels)


STREAMS = (
    _spec(1, "force", SampleType.INT32, "fx fy fz"),
    _spec(2, "imu", SampleType.INT16, "ax ay az gx gy gz"),
)
IDENTITY = Identity(1, 1, 0, "fuzz", "R", 1, STREAMS)


def flip(data: bytearray, dice: random.Random) -> None:
    """Change a bit."""
    data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)


def lose(data: bytearray, dice: random.Random) -> None:
    """Lose one to four bytes, or as many as a few frames have."""
    at = dice.randrange(len(data))
    del data[at : at + dice.choice((1, 2, 4, 200))]


def double(data: bytearray, dice: random.Random) -> None:
    """Bring a stretch twice."""
    at = dice.randrange(len(data))
    stretch = data[at : at + dice.choice((1, 7, 40, 200))]
    data[at:at] = stretch


def swap(data: bytearray, dice: random.Random) -> None:
    """Exchange two bytes."""
    one, two = dice.randrange(len(data)), dice.randrange(len(data))
    data[one], data[two] = data[two], data[one]


def insert(data: bytearray, dice: random.Random) -> None:
    """Add noise."""
    at = dice.randrange(len(data))
    data[at:at] = dice.randbytes(dice.randint(1, 8))


def truncate(data: bytearray, dice: random.Random) -> None:
    """Lose the rest of the line."""
    del data[dice.randrange(len(data)) :]


def chatter(data: bytearray, dice: random.Random) -> None:
    """Let another device speak in between."""
    at = dice.randrange(len(data))
    data[at:at] = dice.choice(CHATTER)


def reorder(data: bytearray, dice: random.Random) -> None:
    """Exchange two frames."""
    frames = data.split(b"\0")
    one, two = dice.randrange(len(frames)), dice.randrange(len(frames))
    frames[one], frames[two] = frames[two], frames[one]
    data[:] = b"\0".join(frames)


HARMS: tuple[Harm, ...] = (flip, lose, double, swap, insert, truncate, chatter, reorder)


@dataclass(frozen=True, slots=True)
class Honest:
    """What is sent: a half to be harmed, and a half that is left clean.

    Attributes:
        harmed: Its bytes.
        clean: Its bytes.
        samples: Of each block in both what its samples are: counts, and times.
    """

    harmed: bytes
    clean: bytes
    samples: dict[SampleBlock, tuple[bytes, bytes]]


def honest(dice: random.Random) -> Honest:
    """Return two streams as a rig sends them, with a status in each half."""
    blocks = [
        SampleBlock(stream.stream_id, n, 1000 * n, 3000, BLOCK_SAMPLES, dice.randbytes(48))
        for n in range(0, 2 * BLOCKS * BLOCK_SAMPLES, BLOCK_SAMPLES)
        for stream in STREAMS
    ]
    frames = [encode_frame(encode(block)) for block in blocks]
    half = len(frames) // 2
    for at, time_us in ((half + 5, 30_000), (3, 5000)):
        frames.insert(at, encode_frame(encode(Status(time_us, True, 0))))
    half += 1
    samples = {block: samples_of(block) for block in blocks}
    return Honest(b"".join(frames[:half]), b"".join(frames[half:]), samples)


def samples_of(block: SampleBlock) -> tuple[bytes, bytes]:
    """Return counts in 32 bits and times in 64 as the document has them, with struct alone."""
    code = "i" if block.stream_id == STREAMS[0].stream_id else "h"
    values = struct.unpack(f"<{len(block.data) // struct.calcsize(code)}{code}", block.data)
    last = block.sample_count - 1
    times = [block.device_time_us + i * block.span_us // last for i in range(last + 1)]
    return struct.pack(f"={len(values)}i", *values), struct.pack(f"={len(times)}q", *times)


class Port:
    """A line that answers as a rig does, and then gives the reads it is told to."""

    name = "fuzz:"
    finished = False

    def __init__(self) -> None:
        self.reads: deque[bytes] = deque()
        self._rig = RigEnd()

    def open(self) -> None:
        """Nothing is to be done."""

    def close(self) -> None:
        """Nothing is to be done."""

    def read(self) -> bytes:
        """Return the next read."""
        return self.reads.popleft() if self.reads else b""

    def write(self, data: bytes) -> None:
        """Answer."""
        for message in self._rig.receive(data):
            if isinstance(message, Identify):
                self.reads.append(self._rig.send(IDENTITY))
            elif isinstance(message, Start | Stop):
                self.reads.append(self._rig.send(Reply(message.request_id, Outcome.DONE)))


class AsRecorded:
    """Hears as a recording does: the link, whole reads at once."""

    def __init__(self) -> None:
        self._port = Port()
        self._link = Link(self._port, clock=ManualClock(), patience_s=None)
        for _ in range(6):
            self._link.step()
        assert self._link.intake.segment == 0, "the link did not begin to stream"
        self._link.take_news()
        self.intake = self._link.intake
        self.blocks = 0
        self.at_once = 0

    def hear(self, reads: list[bytes]) -> Heard:
        """Return what it makes of these reads, counted anew from 0."""
        self.intake.begin_segment(STREAMS)
        self._port.reads.extend(reads)
        found = []
        for _ in reads:
            self._link.step()
            found += self._link.take_news()
            held = len(self._link._host._decoder._tail)
            assert held <= MAX_FRAME_BYTES, f"{held} bytes are held"
        blocks = [item for item in found if isinstance(item, StreamBlock)]
        assert len(blocks) == len(found), f"the link tells of other things: {found}"
        wires = [len(block.wire) for block in blocks]
        self.blocks += sum(wires)
        self.at_once += sum(wire for wire in wires if wire > 1)
        return joined(blocks)


def joined(blocks: list[StreamBlock]) -> Heard:
    """Return all samples of each stream."""
    heard: Heard = {}
    for spec in STREAMS:
        own = [block for block in blocks if block.spec.stream_id == spec.stream_id]
        numbers = [n for b in own for n in range(b.sample_number, b.sample_number + len(b))]
        counts = [block.counts.tobytes() for block in own]
        times = [block.device_time_us.tobytes() for block in own]
        heard[spec.stream_id] = (numbers, b"".join([*counts, *times]))
    return heard


class OneByOne:
    """Hears one frame after the other, split and numbered by the plainest means.

    Attributes:
        frames: Whole ones.
        bad_frames: The others.
        unknown: Whole frames that make no sense.
        late: Samples of blocks that begin before the number that is next.
    """

    def __init__(self) -> None:
        self._host = HostEnd()
        self.frames = self.bad_frames = self.unknown = self.late = 0

    def hear(self, line: bytes, said: Honest) -> Heard:
        """Return what it makes of a line, counted anew from 0."""
        taken: dict[int, list[SampleBlock]] = {spec.stream_id: [] for spec in STREAMS}
        for match in re.finditer(rb"[^\0]+", line):
            frame = open_frame(match.group())
            if isinstance(frame, FrameFault):
                self.bad_frames += 1
                overlong = frame.kind is FrameFaultKind.OVERLONG
                assert overlong == (len(match.group()) > MAX_FRAME_BYTES)
                continue
            self.frames += 1
            message = self._host.hear(frame)
            self.unknown += isinstance(message, Malformed)
            if isinstance(message, SampleBlock):
                assert message in said.samples, f"heard, but never sent: {message!r}"
                self._number(message, taken[message.stream_id])
        return {stream_id: _samples(blocks, said) for stream_id, blocks in taken.items()}

    def _number(self, block: SampleBlock, before: list[SampleBlock]) -> None:
        if before and block.sequence <= before[-1].sequence:
            self.late += block.sample_count
        else:
            before.append(block)


def _samples(blocks: list[SampleBlock], said: Honest) -> tuple[list[int], bytes]:
    numbers = [block.sequence + i for block in blocks for i in range(block.sample_count)]
    counts, times = zip(*(said.samples[block] for block in blocks), strict=True)
    return numbers, b"".join([*counts, *times])


@dataclass
class Campaign:
    """Both ears, and what they were given.

    Attributes:
        streams: How many streams.
        bytes: How many bytes their harmed halves had.
    """

    streams: int = 0
    bytes: int = 0

    def __post_init__(self) -> None:
        self.as_recorded = AsRecorded()
        self.one_by_one = OneByOne()
        self._first = self._before = self.as_recorded.intake.counts

    def one_stream(self, dice: random.Random, said: Honest) -> None:
        """Harm a stream, hear it both ways, and compare."""
        data = bytearray(said.harmed)
        for _ in range(dice.randint(1, 6)):
            if data:
                dice.choice(HARMS)(data, dice)
        cuts = sorted(dice.randint(0, len(data)) for _ in range(dice.randint(0, 3)))
        tail = dice.randint(0, len(said.clean))
        edges = [0, *cuts, len(data)]
        reads = [bytes(data[a:b]) for a, b in itertools.pairwise(edges)]
        reads += [b"\0" + said.clean[:tail], said.clean[tail:]]

        found = self.as_recorded.hear(reads)
        plain = self.one_by_one.hear(b"".join(reads), said)

        self.streams += 1
        self.bytes += len(data)
        assert found == plain, f"heard at once: {found}\nand one by one: {plain}"
        self._check_accounts(found)

    def _check_accounts(self, found: Heard) -> None:
        counts, plain = self.as_recorded.intake.counts, self.one_by_one
        mine = (counts.bad_frames, counts.frames - self._first.frames, counts.unknown_messages)
        assert mine == (plain.bad_frames, plain.frames, plain.unknown)
        assert counts.repeated_samples + counts.reordered_samples == plain.late
        heard = sum(len(numbers) for numbers, _ in found.values())
        missing = counts.missing_samples - self._before.missing_samples
        sent = 2 * BLOCKS * BLOCK_SAMPLES * len(STREAMS)
        assert heard + missing == sent, f"{heard} heard, {missing} missing, {sent} sent"
        clean = range(BLOCKS * BLOCK_SAMPLES, 2 * BLOCKS * BLOCK_SAMPLES)
        for numbers, _ in found.values():
            assert numbers[-len(clean) :] == list(clean), "a clean stream was not heard whole"
        self._before = counts


def campaign(streams: int, seed: str) -> Campaign:
    """Run so many streams; raises at the first that is heard wrongly."""
    dice = random.Random(seed)
    run, said = Campaign(), honest(dice)
    for number in range(streams):
        if number % 1000 == 0:
            said = honest(dice)
        run.one_stream(dice, said)
    return run


def figures(streams: int, seed: str) -> Counter[str]:
    """Run so many streams and return what is told of them."""
    run = campaign(streams, seed)
    counts = run.as_recorded.intake.counts
    return Counter(
        streams=run.streams,
        bytes=run.bytes,
        blocks=run.as_recorded.blocks,
        at_once=run.as_recorded.at_once,
        bad_frames=counts.bad_frames,
        missing=counts.missing_samples,
        late=run.one_by_one.late,
    )


def main() -> int:
    """Run a campaign from the command line, in pieces on every core."""
    parser = argparse.ArgumentParser(description="fuzz the host's ears")
    parser.add_argument("--streams", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    begun, total, pieces = time.perf_counter(), Counter[str](), -(-args.streams // PIECE)
    sizes = [min(PIECE, args.streams - PIECE * n) for n in range(pieces)]
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        seeds = [f"{args.seed}/{n}" for n in range(pieces)]
        for done in pool.map(figures, sizes, seeds):
            total += done
            if sys.stderr.isatty():
                print(f"\r{total['streams']} of {args.streams}", end="", file=sys.stderr)
    seconds = time.perf_counter() - begun
    print(
        f"{total['streams']} damaged streams of {total['bytes'] / total['streams']:.0f} bytes on "
        f"average, seed {args.seed}: nothing raised, nothing false was heard, and whole reads at "
        f"once gave what one frame after the other gave.\n"
        f"{total['blocks']} blocks were heard, {total['at_once']} of them at once as arrays; "
        f"{total['bad_frames']} bad frames were thrown away, {total['late']} samples came twice "
        f"or late, all {total['missing']} that are missing were counted.\n"
        f"{seconds:.0f} s, {total['streams'] / seconds:.0f} streams/s"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
