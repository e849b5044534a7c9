"""Messages to payloads and back: the byte tables of PROTOCOL.md as code.

A payload is one type byte and the fields. Bytes behind the fields a message is known to have
are ignored, so that a newer minor version may append some. Encoding something that does not
fit is misuse; decoding never raises.
"""

from __future__ import annotations

from dataclasses import dataclass

from firmware_protocol.errors import ProtocolMisuse
from firmware_protocol.fields import Code, Cursor, DoesNotFit, Layout, Numbers, Rest, Rows, Text
from firmware_protocol.framing import MAX_PAYLOAD_BYTES
from firmware_protocol.messages import (
    PROTOCOL_MAJOR,
    ChannelSpec,
    Configuration,
    Configure,
    Fault,
    FaultCode,
    Identify,
    Identity,
    Message,
    Outcome,
    Ping,
    Pong,
    ReadConfiguration,
    ReadStore,
    Reply,
    RestartCounters,
    SampleBlock,
    SampleType,
    SelfTest,
    SelfTestResult,
    Start,
    Status,
    Stop,
    StoreValue,
    StreamSpec,
    WriteStore,
    ZeroElectrical,
)
from firmware_protocol.table import MAX_CHANNELS, MAX_STREAMS

MAX_NAME_BYTES = 32
MAX_UNIT_BYTES = 8
MAX_DETAIL_BYTES = 64
MAX_BLOCK_SAMPLES = 255
BLOCK_TYPE = 0x90
STATUS_TYPE = 0x91
BLOCK_HEAD_BYTES = 19
"""What stands before the data in the payload of a sample block."""
VALUE_BYTES = {SampleType.INT16: 2, SampleType.INT32: 4}

_NAME = Text(MAX_NAME_BYTES)
_CHANNEL = Layout(ChannelSpec, _NAME, Text(MAX_UNIT_BYTES), Numbers("fii"))
_CHANNELS = Rows(MAX_CHANNELS, _CHANNEL)
_STREAM = Layout(StreamSpec, Numbers("B"), _NAME, Code(SampleType), Numbers("f"), _CHANNELS)

LAYOUTS: dict[int, Layout] = {
    0x01: Layout(Identify, Numbers("B")),
    0x02: Layout(Start, Numbers("B")),
    0x03: Layout(Stop, Numbers("B")),
    0x04: Layout(Configure, Numbers("BBfB")),
    0x05: Layout(ReadConfiguration, Numbers("BB")),
    0x06: Layout(ZeroElectrical, Numbers("BB")),
    0x07: Layout(Ping, Numbers("BQ")),
    0x08: Layout(SelfTest, Numbers("B")),
    0x09: Layout(RestartCounters, Numbers("B")),
    0x0A: Layout(ReadStore, Numbers("B"), _NAME),
    0x0B: Layout(WriteStore, Numbers("B"), _NAME, Rest()),
    0x81: Layout(Identity, Numbers("BBB"), _NAME, _NAME, Numbers("I"), Rows(MAX_STREAMS, _STREAM)),
    0x82: Layout(Reply, Numbers("B"), Code(Outcome)),
    0x83: Layout(Configuration, Numbers("BBfB")),
    0x84: Layout(Pong, Numbers("BQQQ")),
    0x85: Layout(SelfTestResult, Numbers("B?"), Text(MAX_DETAIL_BYTES)),
    0x86: Layout(StoreValue, Numbers("B"), _NAME, Rest()),
    BLOCK_TYPE: Layout(SampleBlock, Numbers("BIQIB"), Rest()),
    STATUS_TYPE: Layout(Status, Numbers("Q?I")),
    0x92: Layout(Fault, Numbers("Q"), Code(FaultCode), Numbers("B"), Text(MAX_DETAIL_BYTES)),
}
"""The byte table of every message by its type number; numbers are never reused."""
FIRST_RIG_TYPE = 0x80
"""Below it the host speaks, from it on the rig."""

_TYPES: dict[type[Message], int] = {layout.kind: number for number, layout in LAYOUTS.items()}


@dataclass(frozen=True, slots=True)
class Malformed:
    """A payload that survived the line but is no message we know. Counted, never raised.

    Attributes:
        reason: For people.
        payload: As it came.
    """

    reason: str
    payload: bytes


def bytes_per_sample(spec: StreamSpec) -> int:
    """Return how many bytes one row of all channels takes in a sample block."""
    return VALUE_BYTES[spec.sample_type] * len(spec.channels)


def samples_per_frame(spec: StreamSpec) -> int:
    """Return how many samples of a stream fit one frame at most."""
    room = MAX_PAYLOAD_BYTES - BLOCK_HEAD_BYTES
    return min(MAX_BLOCK_SAMPLES, room // bytes_per_sample(spec))


def encode(message: Message) -> bytes:
    """Return the payload of a message.

    Raises:
        ProtocolMisuse: A field does not fit its place on the wire.
    """
    name = type(message).__name__
    if type(message) not in _TYPES:
        raise ProtocolMisuse(f"{name} is no message")
    number = _TYPES[type(message)]
    try:
        payload = bytes([number]) + LAYOUTS[number].put(message)
        _check_block(message)
    except DoesNotFit as cause:
        raise ProtocolMisuse(f"{name} does not fit the wire: {cause}") from cause
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise ProtocolMisuse(f"{name} takes {len(payload)} bytes, {MAX_PAYLOAD_BYTES} are allowed")
    return payload


def decode(payload: bytes) -> Message | Malformed:
    """Return the message in a payload, or why there is none.

    Of the Identity of a foreign major version only the numbers are known: it has no texts and
    no streams.
    """
    if not payload:
        return Malformed("empty payload", payload)
    layout = LAYOUTS.get(payload[0])
    if layout is None:
        return Malformed(f"message type 0x{payload[0]:02x} is not known", payload)
    if layout.kind is Identity and len(payload) > 3 and payload[2] != PROTOCOL_MAJOR:
        return Identity(payload[1], payload[2], payload[3], "", "", 0, ())
    try:
        message: Message = layout.get(Cursor(payload, 1))
        _check_block(message)
    except DoesNotFit as cause:
        return Malformed(f"{layout.kind.__name__}: {cause}", payload)
    return message


def _check_block(message: Message) -> None:
    """Raise unless the data of a sample block are whole samples."""
    if not isinstance(message, SampleBlock):
        return
    size, count = len(message.data), message.sample_count
    if not size or not count or size % count:
        raise DoesNotFit(f"{size} bytes are not {count} samples of one size")
