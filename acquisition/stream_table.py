"""What a stream table must satisfy before anything is built on it."""

from __future__ import annotations

import math

from acquisition.errors import DescriptionError
from acquisition.rig import RigDescription
from firmware_protocol.messages import FORCE_STREAM, Identity, StreamSpec

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
    force = next((spec for spec in identity.streams if spec.name == FORCE_STREAM), None)
    if force is not None and len(force.channels) != rig.cell.axes:
        raise DescriptionError(
            f"the rig description says cell.axes = {rig.cell.axes}, "
            f"but rig {identity.rig_serial!r} sends {len(force.channels)} force channels"
        )
