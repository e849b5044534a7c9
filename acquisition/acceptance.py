"""Which rigs are accepted: what a rig must say of itself before anything is built on it."""

from __future__ import annotations

from acquisition.errors import DescriptionError
from acquisition.rig import RigDescription
from firmware_protocol.messages import (
    FORCE_STREAM,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    Identity,
)
from firmware_protocol.table import SERIAL_RULE, fault_of_table, is_serial


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
    if not identity.rig_serial:
        return "the rig has no serial: give it one in its firmware"
    if not is_serial(identity.rig_serial):
        return (
            f"the rig calls itself {identity.rig_serial!r}; a serial is {SERIAL_RULE}: "
            "change it in its firmware"
        )
    fault = fault_of_table(identity.streams)
    if fault is not None:
        return f"rig {identity.rig_serial!r} has a stream table that makes no sense: {fault.text}"
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
