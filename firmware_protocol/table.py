"""Which stream tables make sense: the rules of PROTOCOL.md, section 4.

Both ends hold to them: a rig does not power up with a table that breaks one, a host refuses it.
On the wire too many rows, or a sample type that is not known, are malformed before that.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from firmware_protocol.messages import NO_STREAM, ChannelSpec, SampleType, StreamSpec

MAX_STREAMS = 32
MAX_CHANNELS = 64
"""Of one stream. All streams together have what fits a payload."""
MAX_RATE_HZ = 100_000.0
RAILS = {SampleType.INT16: (-(2**15), 2**15 - 1), SampleType.INT32: (-(2**31), 2**31 - 1)}
"""What a value of the wire can hold."""


SERIAL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,31}")
SERIAL_RULE = (
    "1 to 32 of the letters A to Z and a to z, digits, - and _, the first a letter or a digit"
)
"""For people: what a rig may call itself."""


class Rule(Enum):
    """The rules by the names they have in the document, in the order in which they are asked."""

    STREAMS = "streams"
    STREAM_NUMBER = "stream number"
    STREAM_NUMBER_TWICE = "stream number twice"
    STREAM_NAME = "stream name"
    STREAM_NAME_TWICE = "stream name twice"
    RATE = "rate"
    CHANNELS = "channels"
    CHANNEL_NAME = "channel name"
    CHANNEL_NAME_TWICE = "channel name twice"
    UNIT = "unit"
    SCALE = "scale"
    RAILS = "rails"


@dataclass(frozen=True, slots=True)
class TableFault:
    """The first rule that a stream table breaks.

    Attributes:
        rule: Which.
        text: What is wrong and where, for people.
    """

    rule: Rule
    text: str


def fault_of_table(streams: tuple[StreamSpec, ...]) -> TableFault | None:
    """Return what is wrong with a stream table, None if nothing."""
    if not 1 <= len(streams) <= MAX_STREAMS:
        return TableFault(Rule.STREAMS, f"it has {len(streams) or 'no'} streams")
    for at, spec in enumerate(streams):
        for fault in (*_of_stream(spec, streams[:at]), *_of_channels(spec)):
            return fault
    return None


def _of_stream(spec: StreamSpec, before: tuple[StreamSpec, ...]) -> Iterator[TableFault]:
    who = f"stream {spec.name!r}"
    if not 0 <= spec.stream_id < NO_STREAM:
        yield TableFault(Rule.STREAM_NUMBER, f"{who} has number {spec.stream_id}")
    if spec.stream_id in {other.stream_id for other in before}:
        text = f"two streams have the same number {spec.stream_id}"
        yield TableFault(Rule.STREAM_NUMBER_TWICE, text)
    if not (spec.name and is_plain(spec.name)):
        text = f"stream {spec.stream_id} has the name {spec.name!r}"
        yield TableFault(Rule.STREAM_NAME, text)
    if spec.name in {other.name for other in before}:
        yield TableFault(Rule.STREAM_NAME_TWICE, f"two streams have the same name {spec.name!r}")
    if not 0.0 < spec.rate_hz <= MAX_RATE_HZ:  # false of what is no number, too
        yield TableFault(Rule.RATE, f"{who} has a rate of {spec.rate_hz} Hz")
    if not 1 <= len(spec.channels) <= MAX_CHANNELS:
        yield TableFault(Rule.CHANNELS, f"{who} has {len(spec.channels)} channels")


def _of_channels(spec: StreamSpec) -> Iterator[TableFault]:
    seen: set[str] = set()
    for channel in spec.channels:
        where = f"channel {channel.name!r} of stream {spec.name!r}"
        if not (channel.name and is_plain(channel.name)):
            text = f"a channel of stream {spec.name!r} has the name {channel.name!r}"
            yield TableFault(Rule.CHANNEL_NAME, text)
        if channel.name in seen:
            text = f"two channels of stream {spec.name!r} have the same name {channel.name!r}"
            yield TableFault(Rule.CHANNEL_NAME_TWICE, text)
        if not is_plain(channel.unit):
            yield TableFault(Rule.UNIT, f"{where} has the unit {channel.unit!r}")
        if channel.scale == 0.0 or not abs(channel.scale) < float("inf"):
            yield TableFault(Rule.SCALE, f"{where} has a scale of {channel.scale}")
        if not _rails_hold(channel, spec.sample_type):
            text = f"{where} has its rails at {channel.count_min} and {channel.count_max}"
            yield TableFault(Rule.RAILS, text)
        seen.add(channel.name)


def is_serial(text: str) -> bool:
    """Tell whether a rig may call itself so."""
    return SERIAL.fullmatch(text) is not None


def is_plain(text: str) -> bool:
    """Tell whether a text has no control character (00 to 1F, 7F)."""
    return not any(mark < " " or mark == "\x7f" for mark in text)


def _rails_hold(channel: ChannelSpec, sample_type: SampleType) -> bool:
    least, most = RAILS[sample_type]
    return least <= channel.count_min < channel.count_max <= most
