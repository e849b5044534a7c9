"""What PROTOCOL.md works out: capacities, latency, what gets through, stuffing in words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

import firmware_protocol
from firmware_protocol import framing
from firmware_protocol.codec import encode
from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import SampleBlock

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


def test_each_line_carries_what_it_is_said_to_carry() -> None:
    """Cells, IMUs and their sum, from the rows of the capacity table."""
    needs = {
        name: int(bytes_per_s)
        for name, bytes_per_s in re.findall(
            r"^\| ([^|]+) \| \d+ \| `i\d+` \| \d+ \| \d+ \| \d+ \| (\d+) \|$", LAW, re.MULTILINE
        )
    }
    six, imu = needs["force, 6 axes"], needs["IMU"]
    wanted = {
        "115 200 baud": needs["force, 3 axes, slow"] + needs["IMU, slow"],
        "460 800 baud": six + imu,
        "921 600 baud": 2 * six + imu,
        "USB, full speed": 4 * six + 10 * imu,
    }
    rooms = dict(re.findall(r"^\| (\d+ \d+ baud|USB, full speed) \| (\d+) \| ", LAW, re.MULTILINE))

    assert set(rooms) == set(wanted)
    for line, need in wanted.items():
        assert need <= int(rooms[line])
        if line.endswith("baud"):
            baud = int(line.removesuffix(" baud").replace(" ", ""))
            assert int(rooms[line]) == baud // 10 * 8 // 10


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


def test_the_latency_budget_is_that_of_real_frames() -> None:
    """Of the capacity table: bytes of a frame, samples in it, and what lies between the samples."""
    rows = {row[0].strip(): row[1:] for row in re.findall(CAPACITY_ROW, LAW, re.MULTILINE)}
    steps = re.findall(r"^\| ([a-z ]+) \|[^|]*\| (\d+) \| (\d+) \|$", LAW, re.MULTILINE)
    budget = {name: (int(fast), int(slow)) for name, fast, slow in steps}
    lines = ((921_600, "force, 6 axes", "IMU"), (115_200, "force, 3 axes, slow", "IMU, slow"))

    for at, (baud, force, imu) in enumerate(lines):
        both = [rows[name] for name in (force, imu)]
        longest_ms = max((int(count) - 1) * 1000 / int(rate) for _, _, rate, count, *_ in both)
        sent_ms = sum(int(frame) for *_, frame, _ in both) * 10_000 / baud
        assert longest_ms <= budget["a sample taken"][at] < longest_ms + 3
        assert sent_ms <= budget["the block built"][at] < sent_ms + 1
    for at, total in enumerate(budget["together"]):
        assert total == sum(step[at] for name, step in budget.items() if name != "together")
    assert budget["together"][0] <= 50
