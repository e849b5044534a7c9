"""What PROTOCOL.md works out: capacities, latency, what gets through, stuffing in words."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

import firmware_protocol
from firmware_protocol import framing
from firmware_protocol.codec import MAX_NAME_BYTES, encode
from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import (
    ChannelSpec,
    Identity,
    SampleBlock,
    SampleType,
    StreamSpec,
)
from firmware_protocol.table import fault_of_table

LAW = Path(str(firmware_protocol.__file__)).with_name("PROTOCOL.md").read_text(encoding="utf-8")
CAPACITY_ROW = r"^\| ([^|]+) \| (\d+) \| `i(\d+)` \| (\d+) \| (\d+) \| (\d+) \| (\d+) \|$"
CAPACITY = [row[1:] for row in re.findall(CAPACITY_ROW, LAW, re.MULTILINE)]


@pytest.mark.parametrize("row", CAPACITY)
def test_capacities_are_those_of_real_frames(row: tuple[str, ...]) -> None:
    channels, bits, rate_hz, count, frame_bytes, bytes_per_s = map(int, row)
    data = b"\xff" * (channels * bits // 8 * count)  # without a zero stuffing is at its longest

    frame = encode_frame(encode(SampleBlock(255, 2**32 - 1, 2**64 - 1, 2**32 - 1, count, data)))

    assert len(frame) == frame_bytes
    assert len(frame) * rate_hz // count == bytes_per_s


@dataclass(frozen=True)
class Row:
    """Of the capacity table."""

    channels: int
    bits: int
    rate_hz: int
    count: int
    frame_bytes: int
    bytes_per_s: int


ROWS = {
    name: Row(*map(int, figures)) for name, *figures in re.findall(CAPACITY_ROW, LAW, re.MULTILINE)
}
LINES = {
    line: (int(room), words)
    for line, room, words in re.findall(
        r"^\| (\d+ \d+ baud|USB, full speed) \| (\d+) \| ([^|]+) \|$", LAW, re.MULTILINE
    )
}
COUNTS = {"the": 1, "two": 2, "four": 4}
KINDS = {"cell of six axes": "force, 6 axes", "force of six axes": "force, 6 axes", "IMU": "IMU"}


def carried(words: str) -> list[str]:
    """Return the rows that a line carries, in the words of the document."""
    if words == "the two slow ones":
        slow = [name for name in ROWS if name.endswith(", slow")]
        assert len(slow) == 2
        return slow
    words, short, _ = words.partition(", in short blocks")
    names = []
    for part in words.split(", and "):
        first, _, rest = part.partition(" ")
        count, kind = (COUNTS[first], rest) if first in COUNTS else (1, part)
        kind = kind.replace("cells", "cell").replace("IMUs", "IMU")
        names += count * [KINDS[kind] + ", short" * bool(short)]
    return names


def spec_of(row: str, number: int) -> StreamSpec:
    """Return a stream with the names and units of section 4."""
    if row.startswith("IMU"):
        name, units = "imu", {"ax ay az": "m/s2", "gx gy gz": "rad/s"}
    else:
        name, units = "force", {"fx fy fz": "count", "mx my mz": "count"}
    channels = [
        ChannelSpec(channel, unit, 0.5, -1, 1)
        for channels, unit in units.items()
        for channel in channels.split()
    ][: ROWS[row].channels]
    kind = {16: SampleType.INT16, 32: SampleType.INT32}[ROWS[row].bits]
    return StreamSpec(number, f"{name}{number or ''}", kind, ROWS[row].rate_hz, tuple(channels))


@pytest.mark.parametrize("line", LINES)
def test_each_line_carries_what_it_is_said_to_carry(line: str) -> None:
    room, words = LINES[line]

    assert sum(ROWS[name].bytes_per_s for name in carried(words)) <= room
    if line.endswith("baud"):
        baud = int(line.removesuffix(" baud").replace(" ", ""))
        assert room == baud // 10 * 8 // 10


@pytest.mark.parametrize("line", LINES)
def test_the_stream_table_of_what_a_line_carries_fits_a_payload(line: str) -> None:
    streams = tuple(spec_of(name, number) for number, name in enumerate(carried(LINES[line][1])))
    longest = "x" * MAX_NAME_BYTES

    assert fault_of_table(streams) is None
    identity = Identity(1, 1, 0, longest, longest, 1, streams)
    assert encode_frame(encode(identity))


def test_what_a_stream_takes_of_an_identity_is_worked_out_right() -> None:
    def taken(*streams: StreamSpec) -> int:
        return len(encode(Identity(1, 1, 0, "", "", 1, streams)))

    for row, pattern in (
        ("force, 6 axes", r"a cell of six axes takes (\d+) bytes"),
        ("IMU", r"an IMU (\d+); the rest"),
    ):
        spec = spec_of(row, 0)
        assert figure(pattern) == taken(spec) - taken() - len(spec.name)
    assert figure(r"the rest of an Identity takes (\d+), and version") == taken()


@given(data=st.binary(max_size=1028) | st.integers(250, 1028).map(lambda size: b"\7" * size))
def test_stuffing_as_the_document_tells_it_is_cobs(data: bytes) -> None:
    pieces: list[bytes] = []
    for piece in data.split(b"\0"):
        pieces += [piece[at : at + 254] for at in range(0, len(piece) + 1, 254)]
    if pieces[-1] == b"" and len(pieces) > 1 and len(pieces[-2]) == 254 and data[-1]:
        del pieces[-1]  # sent without a further 01
    stuffed = b"".join(bytes([len(piece) + 1]) + piece for piece in pieces)

    at, plain = 0, b""
    while at < len(stuffed):
        code = stuffed[at]
        plain += stuffed[at + 1 : at + code]
        at += code
        plain += b"" if code == 255 or at == len(stuffed) else b"\0"

    assert stuffed == cobs.encode(data)
    assert plain == data


def figure(pattern: str) -> float:
    """Return a figure of the document."""
    found = re.search(pattern, LAW)
    assert found is not None, pattern
    return float(found[1].replace(" ", ""))


def test_what_gets_through_is_worked_out_right() -> None:
    """Random bytes: a piece can be unstuffed if a walk of 1 to 255 bytes a step ends at its end."""
    ends_at = [1.0]
    while len(ends_at) <= framing.MAX_FRAME_BYTES:
        ends_at.append(sum(ends_at[-255:]) / 255)
    within = range(framing.MIN_FRAME_BYTES, framing.MAX_FRAME_BYTES + 1)
    share = sum((255 / 256) ** (size - 1) / 256 * ends_at[size] for size in within)
    pieces_per_s = 921_600 / 10 / 256 * 255 / 256  # those that are not empty
    year_s = 365.25 * 86_400

    assert figure(r"baud makes (\d+) pieces a second") == round(pieces_per_s)
    assert figure(r"of which ([\d.]+) % can be unstuffed") == pytest.approx(100 * share, abs=0.005)
    assert figure(r"one in (\d+) years would pass") == round(2**32 / pieces_per_s / share / year_s)
    assert figure(r"in an hour, one in (\d+) years") == round(2**32 / year_s)
    assert figure(r"that is ([\d.]+)·10⁻⁷ in an hour") == pytest.approx(
        3600 / 2**32 * 1e7, abs=0.05
    )
    assert figure(r"false frame pass every (\d+) hours") == round(2**16 / 3600)


def latency_ms(names: list[str], baud: int) -> tuple[float, float]:
    """Return how long a block takes to fill, and to go behind one of each other stream."""
    rows = [ROWS[name] for name in names]
    longest_ms = max((row.count - 1) * 1000 / row.rate_hz for row in rows)
    return longest_ms, sum(row.frame_bytes for row in rows) * 10_000 / baud


def test_the_latency_budget_is_that_of_real_frames() -> None:
    """Of what each line is said to carry."""
    steps = re.findall(r"^\| ([a-z ]+) \|[^|]*\| (\d+) \| (\d+) \|$", LAW, re.MULTILINE)
    budget = {name: (int(fast), int(slow)) for name, fast, slow in steps}

    for at, (line, baud) in enumerate((("921 600 baud", 921_600), ("115 200 baud", 115_200))):
        longest_ms, sent_ms = latency_ms(carried(LINES[line][1]), baud)
        assert longest_ms <= budget["a sample taken"][at] < longest_ms + 3
        assert sent_ms <= budget["the block built"][at] < sent_ms + 1
    for at, total in enumerate(budget["together"]):
        assert total == sum(step[at] for name, step in budget.items() if name != "together")
    assert budget["together"][0] <= figure(r"A picture may be (\d+) ms behind the hand")


def test_longer_blocks_are_late_as_the_document_says() -> None:
    after_ms = figure(r"read by the host \| (\d+) \|") + figure(r"painted \| (\d+) \|")
    block_ms = figure(r"may have blocks of (\d+) ms at 921 600 baud")
    cell, imu = "force, 6 axes", "IMU"
    told = (r"that is (\d+) ms together", [cell, imu]), (r"or it is (\d+)\.", [cell, cell, imu])

    for pattern, names in told:
        longest_ms, sent_ms = latency_ms(names, 921_600)
        assert longest_ms <= block_ms
        assert figure(pattern) == math.ceil(block_ms + sent_ms + after_ms)
