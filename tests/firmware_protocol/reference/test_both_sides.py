"""The C side against PROTOCOL.md, and against the Python side byte for byte."""

from __future__ import annotations

import dataclasses
import re
import struct
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import firmware_protocol
from firmware_protocol import messages
from firmware_protocol.codec import LAYOUTS, Malformed, decode, encode
from firmware_protocol.errors import ProtocolMisuse
from firmware_protocol.framing import MAX_PAYLOAD_BYTES, FrameDecoder, FrameFault, encode_frame
from firmware_protocol.messages import (
    ChannelSpec,
    FaultCode,
    Identity,
    Message,
    SampleBlock,
    SampleType,
    StreamSpec,
)
from firmware_protocol.table import fault_of_table

Ask = Callable[[str], str]

LAW = Path(str(firmware_protocol.__file__)).with_name("PROTOCOL.md").read_text(encoding="utf-8")
VECTORS = re.findall(r"^\| `(\w+\(.*\))` \| `([0-9a-f]+)` \| `([0-9a-f]+)` \|$", LAW, re.MULTILINE)
HEARD = re.findall(r"^\| `([0-9a-f]+)` \| (`\w+\(.*\)`|malformed: .*) \|$", LAW, re.MULTILINE)
THROWN = re.findall(
    r"^\| `([0-9a-f]+)` \| (stuffing|checksum|short|overlong)\b.*\|$", LAW, re.MULTILINE
)
JUDGED = re.findall(r"^\| `(81[0-9a-f]+)` \| ([a-z ]+) \|$", LAW, re.MULTILINE)
NUMBERS = {layout.kind: number for number, layout in LAYOUTS.items()}

# One C process serves all examples; it holds nothing between questions.
shared = settings(
    max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
everything: st.SearchStrategy[Message] = st.one_of(*map(st.from_type, get_args(Message)))


def made(text: str) -> Any:
    """Make the message that a vector writes down. It is our own text."""
    return eval(text, {name: getattr(messages, name) for name in dir(messages)})


def words(value: Any) -> Iterator[str]:
    """Return fields as the driver writes them."""
    if isinstance(value, str):
        yield "x" + value.encode().hex()
    elif isinstance(value, bytes):
        yield "x" + value.hex()
    elif isinstance(value, float):
        yield str(struct.unpack("<I", struct.pack("<f", value))[0])
    elif isinstance(value, int):
        yield str(value % 2**32 if value < 0 else int(value))
    elif isinstance(value, tuple):
        yield str(len(value))
        for row in value:
            yield from words(row)
    else:
        for field in dataclasses.fields(value):
            yield from words(getattr(value, field.name))


def fields(message: Message) -> str:
    return " ".join([str(NUMBERS[type(message)]), *words(message)])


def heard(payload: bytes) -> str:
    """Return what the Python side makes of a payload, in the driver's words."""
    message = decode(payload)
    if not isinstance(message, Malformed):
        return fields(message)
    return "malformed" if not payload or payload[0] in LAYOUTS else "unknown"


def pieces(stream: bytes) -> list[str]:
    """Return what the Python side hears on a line, in the driver's words."""
    return [
        item.kind.value if isinstance(item, FrameFault) else item.hex()
        for item in FrameDecoder().feed(stream)
    ]


def test_the_document_is_read() -> None:
    assert {text.split("(")[0] for text, _, _ in VECTORS} == {kind.__name__ for kind in NUMBERS}
    assert len(HEARD) > 10
    assert {kind for _, kind in THROWN} == {"stuffing", "checksum", "short", "overlong"}


@pytest.mark.parametrize(("text", "payload", "frame"), VECTORS)
def test_golden_vectors_hold_in_c_in_both_directions(
    ask: Ask, text: str, payload: str, frame: str
) -> None:
    message = fields(made(text))

    assert ask(f"say {message}") == payload
    assert ask(f"hear {payload}") == message
    assert ask(f"frame {payload}") == frame
    assert ask(f"feed {frame}") == payload


@pytest.mark.parametrize(("payload", "meant"), HEARD)
def test_what_no_end_sends_is_heard_in_c_as_the_document_says(
    ask: Ask, payload: str, meant: str
) -> None:
    answer = ask(f"hear {payload}")

    if not meant.startswith("malformed"):
        assert answer == fields(made(meant.strip("`")))
    else:
        assert answer == ("unknown" if "no such type" in meant else "malformed")


@pytest.mark.parametrize(("frame", "kind"), THROWN)
def test_frames_to_throw_away_are_thrown_away_in_c(ask: Ask, frame: str, kind: str) -> None:
    assert ask(f"feed {frame}") == kind


@shared
@given(message=everything)
def test_any_message_has_the_same_bytes_on_both_sides(ask: Ask, message: Message) -> None:
    try:
        payload = encode(message)
    except ProtocolMisuse:  # a table or a value too long for one payload
        assert ask(f"say {fields(message)}") == "misfit"
        return

    assert ask(f"say {fields(message)}") == payload.hex()
    assert ask(f"hear {payload.hex()}") == fields(message)
    assert ask(f"frame {payload.hex()}") == encode_frame(payload).hex()


@shared
@given(message=everything, data=st.data())
def test_a_damaged_payload_is_heard_alike_on_both_sides(
    ask: Ask, message: Message, data: st.DataObject
) -> None:
    try:
        payload = bytearray(encode(message))
    except ProtocolMisuse:
        return
    del payload[data.draw(st.integers(0, len(payload))) :]
    for at in data.draw(st.lists(st.integers(0, max(0, len(payload) - 1)), max_size=3)):
        payload[at : at + 1] = data.draw(st.binary(max_size=2))

    assert same_but_for_nan(ask(f"hear {payload.hex()}"), heard(bytes(payload)))


def same_but_for_nan(ours: str, theirs: str) -> bool:
    """Python's float loses the bits inside a NaN; everything else must be equal."""
    pairs = list(zip(ours.split(), theirs.split(), strict=False))
    return len(ours.split()) == len(theirs.split()) and all(
        a == b or (is_nan(a) and is_nan(b)) for a, b in pairs
    )


def is_nan(word: str) -> bool:
    return word.isdigit() and int(word) & 0x7FFFFFFF > 0x7F800000


@shared
@given(payload=st.binary(max_size=300))
def test_random_payloads_are_heard_alike_on_both_sides(ask: Ask, payload: bytes) -> None:
    assert same_but_for_nan(ask(f"hear {payload.hex()}"), heard(payload))


noise = st.binary(max_size=400)
mostly_zeros = st.lists(st.sampled_from([0, 0, 1, 2, 3, 5, 255]), max_size=300).map(bytes)
long_runs = st.integers(1000, 2200).map(lambda size: b"\1" * size + b"\0")


@shared
@given(chunks=st.lists(st.one_of(noise, mostly_zeros, long_runs), max_size=6))
def test_noise_is_heard_alike_on_both_sides(ask: Ask, chunks: list[bytes]) -> None:
    stream = b"".join(chunks)

    assert ask(f"feed {stream.hex()}").split() == pieces(stream)


@shared
@given(payloads=st.lists(st.binary(min_size=1, max_size=600), max_size=4), data=st.data())
def test_damaged_frames_are_heard_alike_on_both_sides(
    ask: Ask, payloads: list[bytes], data: st.DataObject
) -> None:
    stream = bytearray(b"".join(map(encode_frame, payloads)))
    for at in data.draw(st.lists(st.integers(0, len(stream)), max_size=3)):
        stream[at : at + 1] = data.draw(st.binary(max_size=2))

    assert ask(f"feed {stream.hex()}").split() == pieces(bytes(stream))


@pytest.mark.parametrize("size", [1, 249, 250, 251, 253, 254, 255, 504, 1023, 1024])
@pytest.mark.parametrize("byte", [0, 1, 255])
def test_frames_round_the_block_limits_are_the_same(ask: Ask, size: int, byte: int) -> None:
    payload = bytes([byte]) * size

    assert ask(f"frame {payload.hex()}") == encode_frame(payload).hex()
    assert ask(f"feed {encode_frame(payload).hex()}") == payload.hex()


def test_a_payload_that_is_too_long_or_empty_has_no_frame(ask: Ask) -> None:
    assert ask("frame " + "01" * (MAX_PAYLOAD_BYTES + 1)) == ""
    assert ask("frame") == ""


def test_the_sender_of_a_full_block_at_the_end_may_add_01(ask: Ask) -> None:
    """A 254-byte block at the very end, with the further 01 that some encoders send."""
    tail = next(
        payload
        for number in range(2**20)
        if (payload := b"\1" * 247 + number.to_bytes(3, "big"))
        and 0 not in encode_frame(payload)[:-1]
        and 0 not in payload
        and len(encode_frame(payload)) == 256
        and encode_frame(payload)[0] == 255
    )

    assert ask(f"feed {(encode_frame(tail)[:-1]).hex()}0100") == tail.hex()


@pytest.mark.parametrize(("payload", "verdict"), JUDGED)
def test_stream_tables_are_judged_in_c_as_the_document_says(
    ask: Ask, payload: str, verdict: str
) -> None:
    assert ask(f"judge {payload}") == verdict


f32 = st.floats(width=32) | st.sampled_from([0.0, -0.0, 1e5, 1e-45])
rails = st.integers(-(2**31), 2**31 - 1) | st.sampled_from([0, -32768, 32767, -32769, 32768])
short = st.text("ab\0\t \x7f\x80ü", max_size=2)
channels = st.builds(ChannelSpec, short, short, f32, rails, rails) | st.builds(
    ChannelSpec, st.sampled_from("abcd"), st.just(""), st.just(1.0), st.just(-1), st.just(1)
)
tables = st.lists(
    st.builds(
        StreamSpec,
        st.sampled_from([0, 1, 2, 254, 255]),
        short | st.sampled_from(["x", "y", "z"]),
        st.sampled_from(SampleType),
        f32 | st.just(100.0),
        st.lists(channels, max_size=4).map(tuple),
    ),
    max_size=3,
).map(tuple)


@shared
@given(streams=tables)
def test_any_stream_table_is_judged_alike_on_both_sides(
    ask: Ask, streams: tuple[StreamSpec, ...]
) -> None:
    payload = encode(Identity(1, 1, 0, "", "R", 1, streams))

    fault = fault_of_table(streams)

    assert ask(f"judge {payload.hex()}") == ("good" if fault is None else fault.rule.value)


EDGES = ["00", "7f", "80", "c1bf", "c280", "dfbf", "e09fbf", "e0a080", "ed9fbf", "eda080", "efbfbf"]
EDGES += ["f08fbfbf", "f0908080", "f48fbfbf", "f4908080", "f5808080", "ff", "c2", "e0a0", "f09080"]
EDGES += ["c3c3", "e282ac41", "e28241", "feff"]


@pytest.mark.parametrize("text", EDGES)
def test_the_edges_of_utf_8_are_the_same(ask: Ask, text: str) -> None:
    """First and last of every row of table 3-7 of the Unicode standard, and just beside them."""
    payload = bytes([0x0A, 1, len(text) // 2]) + bytes.fromhex(text)

    assert ask(f"hear {payload.hex()}") == heard(payload)


@pytest.mark.parametrize(
    "message",
    [
        messages.ReadStore(1, "x" * 33),
        messages.SelfTestResult(1, True, "x" * 65),
        messages.Fault(0, FaultCode.BRIDGE_OPEN, 255, "ü" * 33),
        messages.WriteStore(1, "k", b"x" * 1021),
        SampleBlock(1, 0, 0, 0, 0, b"ab"),
        SampleBlock(1, 0, 0, 0, 2, b"abc"),
        SampleBlock(1, 0, 0, 0, 1, b""),
    ],
    ids=lambda message: type(message).__name__,
)
def test_what_does_not_fit_is_not_encoded_on_either_side(ask: Ask, message: Message) -> None:
    with pytest.raises(ProtocolMisuse):
        encode(message)

    assert ask(f"say {fields(message)}") == "misfit"
