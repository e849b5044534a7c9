"""PROTOCOL.md against the code: vectors, byte tables, codes, limits and figures."""

from __future__ import annotations

import dataclasses
import re
import struct
from enum import IntEnum
from pathlib import Path
from typing import Any

import pytest

import firmware_protocol
from firmware_protocol import codec, ends, framing, messages
from firmware_protocol.codec import FIRST_RIG_TYPE, LAYOUTS, Malformed, decode, encode
from firmware_protocol.ends import HostEnd, RigEnd
from firmware_protocol.errors import ProtocolMisuse
from firmware_protocol.framing import FrameDecoder, FrameFault, encode_frame
from firmware_protocol.messages import (
    ChannelSpec,
    FaultCode,
    Message,
    Outcome,
    SampleType,
    StreamSpec,
)
from firmware_protocol.table import (
    MAX_CHANNELS,
    MAX_RATE_HZ,
    MAX_STREAMS,
    SERIAL_RULE,
    Rule,
    fault_of_table,
    is_serial,
)

LAW = Path(str(firmware_protocol.__file__)).with_name("PROTOCOL.md").read_text(encoding="utf-8")
VECTORS = re.findall(r"^\| `(\w+\(.*\))` \| `([0-9a-f]+)` \| `([0-9a-f]+)` \|$", LAW, re.MULTILINE)
HEARD = re.findall(r"^\| `([0-9a-f]+)` \| (`\w+\(.*\)`|malformed: .*) \|$", LAW, re.MULTILINE)
JUDGED = re.findall(r"^\| `(81[0-9a-f]+)` \| ([a-z ]+) \|$", LAW, re.MULTILINE)
SERIALS = re.findall(
    r"^\| `([^`]*)` \| (good|refused) \|$",
    LAW.split("| rig_serial | |")[1].split("\n\n")[0],
    re.MULTILINE,
)
THROWN = re.findall(r"^\| `([0-9a-f]+)` \| (\w+): .* \|$", LAW, re.MULTILINE)
THROWN = [(frame, kind) for frame, kind in THROWN if kind != "malformed"]
SECTIONS = {
    chunk.split("\n", 1)[0]: re.split(r"^##", chunk, flags=re.MULTILINE)[0]
    for chunk in re.split(r"^#### ", LAW, flags=re.MULTILINE)[1:]
}
TABLES = {
    name: re.findall(r"^\| (\d*) ?\| `([^`]+)` \| (\w+) \| ?(.*) ?\|$", text, re.MULTILINE)
    for name, text in SECTIONS.items()
}
WIDTHS = {"u8": "<B", "u32": "<I", "u64": "<Q", "i32": "<i", "f32": "<f", "bool": "<?"}


def made(text: str) -> Any:
    """Make the message that a vector writes down. It is our own text."""
    return eval(text, {name: getattr(messages, name) for name in dir(messages)})


def understood(table: str, data: bytes, start: int = 0) -> tuple[dict[str, Any], int]:
    """Read bytes by nothing but the byte tables of the document; also tell where they end."""
    found: dict[str, Any] = {}
    at = start
    for offset, kind, field, _ in TABLES[table]:
        assert offset in ("", str(at - start)), f"{table}.{field} does not stand at {offset}"
        found[field], at = taken(kind, data, at)
    return found, at


def taken(kind: str, data: bytes, at: int) -> tuple[Any, int]:
    if kind in WIDTHS:
        return struct.unpack_from(WIDTHS[kind], data, at)[0], at + struct.calcsize(WIDTHS[kind])
    if kind == "rest":
        return data[at:], len(data)
    if kind.startswith("text "):
        size, at = data[at], at + 1
        assert size <= int(kind.removeprefix("text "))
        return data[at : at + size].decode("utf-8"), at + size
    rows, count, at = [], data[at], at + 1
    for _ in range(count):
        row, at = understood(kind.split(" of ")[1], data, at)
        rows.append(row)
    return tuple(rows), at


def ears_for(message: Message) -> HostEnd | RigEnd:
    return HostEnd() if encode(message)[0] >= FIRST_RIG_TYPE else RigEnd()


def test_every_message_has_a_vector_and_a_byte_table() -> None:
    kinds = {layout.kind for layout in LAYOUTS.values()}

    assert {type(made(text)) for text, _, _ in VECTORS} == kinds
    assert set(TABLES) == {kind.__name__ for kind in kinds | {StreamSpec, ChannelSpec}}
    assert len(HEARD) > 10
    assert {kind for _, kind in THROWN} == {kind.value for kind in framing.FrameFaultKind}


@pytest.mark.parametrize(("text", "payload", "frame"), VECTORS)
def test_golden_vectors_hold_in_both_directions(text: str, payload: str, frame: str) -> None:
    message = made(text)

    assert encode(message).hex() == payload
    assert encode_frame(bytes.fromhex(payload)).hex() == frame
    assert decode(bytes.fromhex(payload)) == message


@pytest.mark.parametrize(("text", "payload", "frame"), VECTORS)
def test_golden_frames_are_heard_whole_bytewise_and_with_a_tail(
    text: str, payload: str, frame: str
) -> None:
    message, raw = made(text), bytes.fromhex(frame)
    whole, bytewise, tailed = (ears_for(message) for _ in range(3))

    assert whole.receive(raw) == [message]
    assert [item for byte in raw for item in bytewise.receive(bytes([byte]))] == [message]
    assert tailed.receive(raw + raw[:-1]) == [message]
    assert tailed.receive(raw[-1:]) == [message]


@pytest.mark.parametrize(("text", "payload", "frame"), VECTORS)
def test_the_byte_tables_alone_are_enough_to_read_the_vectors(
    text: str, payload: str, frame: str
) -> None:
    message, data = made(text), bytes.fromhex(payload)

    found, end = understood(type(message).__name__, data)

    assert end == len(data)
    assert found == {"type": data[0], **dataclasses.asdict(message)}
    assert list(found)[1:] == [field.name for field in dataclasses.fields(message)]


@pytest.mark.parametrize("number", LAYOUTS)
def test_type_numbers_are_those_of_the_document(number: int) -> None:
    name = LAYOUTS[number].kind.__name__
    _, _, field, meaning = TABLES[name][0]

    assert (field, meaning.strip()) == ("type", f"`{number:02x}`")


@pytest.mark.parametrize(("payload", "heard"), HEARD)
def test_what_no_end_sends_is_heard_as_the_document_says(payload: str, heard: str) -> None:
    found = decode(bytes.fromhex(payload))

    if heard.startswith("malformed"):
        assert isinstance(found, Malformed)
        assert found.payload.hex() == payload
    else:
        assert found == made(heard.strip("`"))


@pytest.mark.parametrize(("frame", "kind"), THROWN)
def test_frames_to_throw_away_are_thrown_away_for_the_reason_given(frame: str, kind: str) -> None:
    (fault,) = FrameDecoder().feed(bytes.fromhex(frame))

    assert isinstance(fault, FrameFault)
    assert fault.kind.value == kind


@pytest.mark.parametrize(("payload", "verdict"), JUDGED)
def test_stream_tables_are_judged_as_the_document_says(payload: str, verdict: str) -> None:
    identity = decode(bytes.fromhex(payload))

    assert isinstance(identity, messages.Identity)
    fault = fault_of_table(identity.streams)
    assert verdict == ("good" if fault is None else fault.rule.value)


@pytest.mark.parametrize(("serial", "verdict"), SERIALS)
def test_serials_are_judged_as_the_document_says(serial: str, verdict: str) -> None:
    assert is_serial(serial) == (verdict == "good")


def test_the_rule_for_serials_is_told_in_the_words_of_the_document() -> None:
    assert f"A rig_serial must be {SERIAL_RULE}" in LAW.replace("`", "")
    assert {verdict for _, verdict in SERIALS} == {"good", "refused"}


def test_the_rules_for_tables_are_those_of_the_document_and_each_has_a_vector() -> None:
    rules = LAW.split("| rule | a table must have |")[1].split("\n\n")[0]

    names = re.findall(r"^\| ([a-z ]+) \| ", rules, re.MULTILINE)

    assert names == [rule.value for rule in Rule]
    assert {verdict for _, verdict in JUDGED} == {"good", *names}
    assert f"1 to {MAX_STREAMS} streams" in rules
    assert f"1 to {MAX_CHANNELS} channels" in rules
    assert f"at most {MAX_RATE_HZ:_.0f}".replace("_", " ") in rules


def test_no_more_channels_than_the_document_says_fit_a_payload() -> None:
    most = re.search(r"more than (\d+) channels in all streams together", LAW)

    def table(count: int) -> messages.Identity:
        channels = tuple(ChannelSpec(chr(33 + n), "", 1.0, -1, 1) for n in range(count // 2))
        rest = tuple(ChannelSpec(chr(33 + n), "", 1.0, -1, 1) for n in range(count - count // 2))
        streams = (
            StreamSpec(1, "a", SampleType.INT16, 1.0, channels),
            StreamSpec(2, "b", SampleType.INT16, 1.0, rest),
        )
        assert fault_of_table(streams) is None
        return messages.Identity(1, 1, 0, "", "R", 1, streams)

    assert most is not None
    encode_frame(encode(table(int(most[1]))))
    with pytest.raises(ProtocolMisuse):
        encode_frame(encode(table(int(most[1]) + 1)))


@pytest.mark.parametrize(("table", "codes"), [("Reply", Outcome), ("Fault", FaultCode)])
def test_codes_are_those_of_the_document(table: str, codes: type[IntEnum]) -> None:
    rows = re.findall(r"^\| (\d+) \| ([A-Za-z ]+) \|$", SECTIONS[table], re.MULTILINE)

    assert {code.value: code.name for code in codes} == {
        int(number): text.upper().replace(" ", "_") for number, text in rows
    }


def test_sample_types_and_stream_names_are_those_of_the_document() -> None:
    widths = re.findall(r"(\d): `i(\d+)`", SECTIONS["StreamSpec"])

    assert {int(number): int(bits) // 8 for number, bits in widths} == {
        kind.value: codec.VALUE_BYTES[kind] for kind in SampleType
    }
    assert f"| `{messages.FORCE_STREAM}` |" in LAW
    assert f"| `{messages.IMU_STREAM}` |" in LAW
    assert f"Version {messages.PROTOCOL_MAJOR}.{messages.PROTOCOL_MINOR}." in LAW


@pytest.mark.parametrize(
    ("what", "value"),
    [
        ("payload, at most", framing.MAX_PAYLOAD_BYTES),
        ("frame without its delimiter, at most", framing.MAX_FRAME_BYTES),
        ("name, serial, version", codec.MAX_NAME_BYTES),
        ("unit", codec.MAX_UNIT_BYTES),
        ("detail", codec.MAX_DETAIL_BYTES),
        ("head of a SampleBlock", codec.BLOCK_HEAD_BYTES),
        ("streams in a table, at most", MAX_STREAMS),
        ("channels of a stream, at most", MAX_CHANNELS),
    ],
)
def test_limits_are_those_of_the_document(what: str, value: int) -> None:
    assert f"| {what} | {value} |" in LAW


def test_the_polite_numbers_and_those_with_flow_control_are_those_of_the_document() -> None:
    polite = re.search(r"with the request_ids (\d+), (\d+) and (\d+) in turn", LAW)
    rude = re.search(r"Other numbers are allowed, but ([\d, and]+) have `11` or `13`", LAW)
    frames = [encode_frame(encode(messages.Identify(number))) for number in range(256)]

    assert polite is not None
    assert rude is not None
    assert tuple(map(int, polite.groups())) == ends.POLITE_REQUESTS
    assert tuple(n for n, f in enumerate(frames) if min(f[2:-1]) >= 0xA0) == ends.POLITE_REQUESTS
    assert [int(number) for number in re.findall(r"\d+", rude[1])] == [
        number for number, frame in enumerate(frames) if b"\x11" in frame or b"\x13" in frame
    ]


def test_the_worked_examples_are_golden_vectors() -> None:
    """Their bytes, read out of the layout for people, are those of vectors."""
    examples = LAW.split("## 11.")[1].split("## 12.")[0]
    frames = [frame for _, _, frame in VECTORS]

    line = re.search(r"frame +((?:[0-9A-F]{2} )+00)$", examples, re.MULTILINE)
    block = re.search(r"stuffed +(04 90(?:.*\n)+?) +00$", examples, re.MULTILINE)

    assert line is not None
    assert block is not None
    assert bytes.fromhex(line[1]).hex() in frames
    spread = [re.match(r" *((?:[0-9A-F]{2} ?)+)", row) for row in block[1].splitlines()]
    assert "".join(row[1] for row in spread if row).replace(" ", "").lower() + "00" in frames
