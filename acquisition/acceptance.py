"""Which rigs are accepted: what a rig must say of itself before anything is built on it."""

from __future__ import annotations

import math

from acquisition.errors import DescriptionError
from acquisition.rig import RigDescription
from firmware_protocol.messages import (
    FORCE_STREAM,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    Identity,
    StreamSpec,
)

MAX_CHANNELS = 64
MAX_RATE_HZ = 100_000.0


def fault_of_table(streams: tuple[StreamSpec, ...]) -> str:
    """Return what is wrong with a stream table, empty if nothing."""
    if not streams:
        return "it has no streams"
    if len({spec.stream_id for spec in streams}) < len(streams):
        return "two streams have the same number"
    if len({spec.name for spec in streams}) < len(streams):
        return "two streams have the same name"
    for spec in streams:
        if not 1 <= len(spec.channels) <= MAX_CHANNELS:
            return f"stream {spec.name!r} has {len(spec.channels)} channels"
        if not (math.isfinite(spec.rate_hz) and 0 < spec.rate_hz <= MAX_RATE_HZ):
            return f"stream {spec.name!r} has a rate of {spec.rate_hz} Hz"
        if not 0 <= spec.stream_id < 255 or "\0" in spec.name:
            return f"stream {spec.name!r} has number {spec.stream_id}"
        if not all(math.isfinite(channel.scale) for channel in spec.channels):
            return f"stream {spec.name!r} has a scale that is no number"
    return ""


def reason_to_refuse(identity: Identity, known: Identity | None) -> str:
    """Return why a rig cannot be used, empty if it can.

    Args:
        identity: What it says of itself.
        known: What the rig before the loss of the line had said, None at the first connecting.
    """
    if identity.protocol_major != PROTOCOL_MAJOR:
        return (
            f"speaks protocol {identity.protocol_major}.{identity.protocol_minor}, "
            f"this program {PROTOCOL_MAJOR}.{PROTOCOL_MINOR}; bring firmware and program together"
        )
    fault = fault_of_table(identity.streams)
    if fault:
        return f"rig {identity.rig_serial!r} has a stream table that makes no sense: {fault}"
    if known is None:
        return ""
    if identity.rig_serial != known.rig_serial:
        return (
            f"another rig answers, {identity.rig_serial!r} instead of {known.rig_serial!r}; "
            "connect the one this session began with"
        )
    if identity.streams != known.streams:
        return f"rig {identity.rig_serial!r} came back with other streams; begin a new session"
    return ""


def check_rig_matches(rig: RigDescription, identity: Identity) -> None:
    """Check that a description belongs to the rig that answered.

    Raises:
        DescriptionError: It is another rig's, or its cell has other axes: directions worked
            out with it would be wrong.
    """
    if rig.rig.id != identity.rig_serial:
        raise DescriptionError(
            f"the rig description is for {rig.rig.id!r}, but {identity.rig_serial!r} answers; "
            "use the description of that rig"
        )
    sent = {spec.name: len(spec.channels) for spec in identity.streams}
    if sent.get(FORCE_STREAM, rig.cell.axes) != rig.cell.axes:
        raise DescriptionError(
            f"the rig description says cell.axes = {rig.cell.axes}, "
            f"but rig {identity.rig_serial!r} sends {sent[FORCE_STREAM]} force channels"
        )
    second = rig.stabiliser and rig.stabiliser.stream
    if second and sent.get(second, 3) != 3:
        raise DescriptionError(
            f"the rig description says that stream {second!r} is a cell of 3 force channels, "
            f"but rig {identity.rig_serial!r} sends {sent[second]}"
        )
