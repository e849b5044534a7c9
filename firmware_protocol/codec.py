"""Messages to payloads and back: the byte tables of PROTOCOL.md as code.

A payload is one type byte and the fields, little-endian, without padding. Bytes behind the
fields a message is known to have are ignored, so that a newer minor version may append some.
Encoding something that does not fit is misuse; decoding never raises.
"""

from __future__ import annotations

import dataclasses
import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from firmware_protocol.errors import ProtocolMisuse
from firmware_protocol.framing import MAX_PAYLOAD_BYTES
from firmware_protocol.messages import (
    PROTOCOL_MAJOR,
    ChannelSpec,
    Fault,
    FaultCode,
    Identify,
    Identity,
    Message,
    Outcome,
    Reply,
    SampleBlock,
    SampleType,
    Start,
    Status,
    Stop,
    StreamSpec,
)

MAX_NAME_BYTES = 32
MAX_UNIT_BYTES = 8
MAX_DETAIL_BYTES = 64
VALUE_BYTES = {SampleType.INT16: 2, SampleType.INT32: 4}

_REQUEST = struct.Struct("<B")
_IDENTITY_HEAD = struct.Struct("<BBB")
_IDENTITY_BOOT = struct.Struct("<IB")
_STREAM = struct.Struct("<BBfB")
_CHANNEL = struct.Struct("<fii")
_REPLY = struct.Struct("<BB")
_BLOCK = struct.Struct("<BIQIB")
_STATUS = struct.Struct("<Q?I")
_FAULT = struct.Struct("<QBB")


@dataclass(frozen=True, slots=True)
class Malformed:
    """A payload that survived the line but is no message we know. Counted, never raised.

    Attributes:
        reason: For people.
        payload: As it came.
    """

    reason: str
    payload: bytes


class _Bad(Exception):
    """Inside this module only: the payload does not hold what its type promises."""


def bytes_per_sample(spec: StreamSpec) -> int:
    """Return how many bytes one row of all channels takes in a sample block."""
    return VALUE_BYTES[spec.sample_type] * len(spec.channels)


def samples_per_frame(spec: StreamSpec) -> int:
    """Return how many samples of a stream fit one frame at most."""
    return min(255, (MAX_PAYLOAD_BYTES - 1 - _BLOCK.size) // bytes_per_sample(spec))


def encode(message: Message) -> bytes:
    """Return the payload of a message.

    Raises:
        ProtocolMisuse: A field does not fit its place on the wire.
    """
    number, put, _ = CODECS[type(message)]
    try:
        payload = bytes([number]) + put(message)
    except struct.error as cause:
        raise ProtocolMisuse(f"{type(message).__name__}: {cause}: {message!r}") from cause
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise ProtocolMisuse(
            f"{type(message).__name__} takes {len(payload)} bytes, {MAX_PAYLOAD_BYTES} are allowed"
        )
    return payload


def decode(payload: bytes) -> Message | Malformed:
    """Return the message in a payload, or why there is none."""
    if not payload:
        return Malformed("empty payload", payload)
    reader = _READERS.get(payload[0])
    if reader is None:
        return Malformed(f"unknown message type 0x{payload[0]:02x}", payload)
    try:
        return reader(_Cursor(payload, 1))
    except (_Bad, ValueError) as cause:  # ValueError: an enum member or UTF-8 we do not know
        return Malformed(str(cause), payload)


class _Cursor:
    """Reads fields one behind the other; running out is `_Bad`."""

    def __init__(self, data: bytes, at: int) -> None:
        self._data = data
        self._at = at

    def take(self, size: int) -> bytes:
        piece = self._data[self._at : self._at + size]
        if len(piece) < size:
            raise _Bad(f"payload of {len(self._data)} bytes ends too early")
        self._at += size
        return piece

    def fields(self, layout: struct.Struct) -> tuple[Any, ...]:
        return layout.unpack(self.take(layout.size))

    def rest(self) -> bytes:
        return self.take(len(self._data) - self._at)

    def text(self, limit: int) -> str:
        size = self.take(1)[0]
        if size > limit:
            raise _Bad(f"text of {size} bytes, {limit} are allowed")
        return self.take(size).decode("utf-8")


_Put = Callable[[Any], bytes]
_Get = Callable[[_Cursor], Message]


def _text(text: str, limit: int) -> bytes:
    raw = text.encode("utf-8")
    if len(raw) > limit:
        raise ProtocolMisuse(f"{text!r} takes {len(raw)} bytes, {limit} are allowed")
    return bytes([len(raw)]) + raw


def _flat(kind: type[Any], layout: struct.Struct) -> tuple[_Put, _Get]:
    """Return the two directions of a message whose fields lie one behind the other."""
    names = [field.name for field in dataclasses.fields(kind)]

    def put(message: Any) -> bytes:
        return layout.pack(*(getattr(message, name) for name in names))

    def get(cursor: _Cursor) -> Message:
        message: Message = kind(*cursor.fields(layout))
        return message

    return put, get


def _put_identity(message: Identity) -> bytes:
    parts = [
        _IDENTITY_HEAD.pack(message.request_id, message.protocol_major, message.protocol_minor),
        _text(message.firmware_version, MAX_NAME_BYTES),
        _text(message.rig_serial, MAX_NAME_BYTES),
        _IDENTITY_BOOT.pack(message.boot_count, len(message.streams)),
        *(_put_stream(stream) for stream in message.streams),
    ]
    return b"".join(parts)


def _put_stream(spec: StreamSpec) -> bytes:
    head = _STREAM.pack(spec.stream_id, spec.sample_type, spec.rate_hz, len(spec.channels))
    channels = (
        _text(channel.name, MAX_NAME_BYTES)
        + _text(channel.unit, MAX_UNIT_BYTES)
        + _CHANNEL.pack(channel.scale, channel.count_min, channel.count_max)
        for channel in spec.channels
    )
    return _text(spec.name, MAX_NAME_BYTES) + head + b"".join(channels)


def _get_identity(cursor: _Cursor) -> Identity:
    request_id, major, minor = cursor.fields(_IDENTITY_HEAD)
    if major != PROTOCOL_MAJOR:
        return Identity(request_id, major, minor, "", "", 0, ())
    firmware, serial = cursor.text(MAX_NAME_BYTES), cursor.text(MAX_NAME_BYTES)
    boot_count, stream_count = cursor.fields(_IDENTITY_BOOT)
    streams = tuple(_get_stream(cursor) for _ in range(stream_count))
    if len({stream.stream_id for stream in streams}) < len(streams):
        raise _Bad("two streams have one id")
    return Identity(request_id, major, minor, firmware, serial, boot_count, streams)


def _get_stream(cursor: _Cursor) -> StreamSpec:
    name = cursor.text(MAX_NAME_BYTES)
    stream_id, sample_type, rate_hz, channel_count = cursor.fields(_STREAM)
    channels = tuple(_get_channel(cursor) for _ in range(channel_count))
    if not channels or not 0 < rate_hz < 1e6:
        raise _Bad(f"stream {name!r} has {channel_count} channels at {rate_hz} Hz")
    return StreamSpec(stream_id, name, SampleType(sample_type), rate_hz, channels)


def _get_channel(cursor: _Cursor) -> ChannelSpec:
    name, unit = cursor.text(MAX_NAME_BYTES), cursor.text(MAX_UNIT_BYTES)
    return ChannelSpec(name, unit, *cursor.fields(_CHANNEL))


def _put_block(message: SampleBlock) -> bytes:
    if message.sample_count == 0 or len(message.data) % message.sample_count:
        raise ProtocolMisuse(
            f"{len(message.data)} bytes are not {message.sample_count} samples of one size"
        )
    return (
        _BLOCK.pack(
            message.stream_id,
            message.sequence,
            message.device_time_us,
            message.span_us,
            message.sample_count,
        )
        + message.data
    )


def _get_block(cursor: _Cursor) -> SampleBlock:
    stream_id, sequence, time_us, span_us, count = cursor.fields(_BLOCK)
    data = cursor.rest()
    if count == 0 or len(data) % count or not data:
        raise _Bad(f"{len(data)} bytes are not {count} samples of one size")
    return SampleBlock(stream_id, sequence, time_us, span_us, count, data)


def _put_fault(message: Fault) -> bytes:
    head = _FAULT.pack(message.device_time_us, message.code, message.stream_id)
    return head + _text(message.detail, MAX_DETAIL_BYTES)


def _get_fault(cursor: _Cursor) -> Fault:
    time_us, code, stream_id = cursor.fields(_FAULT)
    return Fault(time_us, FaultCode(code), stream_id, cursor.text(MAX_DETAIL_BYTES))


def _get_reply(cursor: _Cursor) -> Reply:
    request_id, outcome = cursor.fields(_REPLY)
    return Reply(request_id, Outcome(outcome))


CODECS: dict[type[Message], tuple[int, _Put, _Get]] = {
    Identify: (0x01, *_flat(Identify, _REQUEST)),
    Start: (0x02, *_flat(Start, _REQUEST)),
    Stop: (0x03, *_flat(Stop, _REQUEST)),
    Identity: (0x81, _put_identity, _get_identity),
    Reply: (0x82, _flat(Reply, _REPLY)[0], _get_reply),
    SampleBlock: (0x90, _put_block, _get_block),
    Status: (0x91, *_flat(Status, _STATUS)),
    Fault: (0x92, _put_fault, _get_fault),
}
"""Type number and the two directions of every message. Host to rig below 0x80, rig to host above.

Numbers are never reused.
"""
_READERS = {number: get for number, _, get in CODECS.values()}
