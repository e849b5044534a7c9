"""Findings that are the rig's own: what it reported unasked while it was recorded."""

from __future__ import annotations

from collections import Counter

from acquisition.recording.model import Recording
from analysis.quality.evidence import Recorded, finding
from analysis.trial import QualityFinding
from firmware_protocol.messages import NO_STREAM, Fault, FaultCode

FAULT_WORDS = {
    FaultCode.BRIDGE_OPEN: (
        "bridge open",
        "Look at the plug and the cable of the load cell: a wire of its bridge is off.",
    ),
    FaultCode.CONVERTER_SATURATED: (
        "converter saturated",
        "Press less, or check the range of the amplifier.",
    ),
    FaultCode.IMU_SILENT: ("IMU not answering", "Look at the cable and the supply of the IMU."),
    FaultCode.BUFFER_OVERRUN: (
        "buffer overrun",
        "The line is too slow for what the rig sends: a faster port, or a lower rate.",
    ),
    FaultCode.STREAM_SILENT: (
        "stream silent",
        "Look at the cable and the supply of its converter.",
    ),
}
FINE_ADVICE = "The rig has reported no fault of its own."
UNKNOWN_ADVICE = "The rig's firmware is newer than this program: look into its documentation."


def faults(evidence: Recorded) -> list[QualityFinding]:
    """Name the faults that the rig reported, each kind with how often."""
    recording = evidence.recording
    times = Counter(_words(recording, fault) for fault in recording.faults)
    codes = dict.fromkeys(fault.code for fault in recording.faults)
    advice = dict.fromkeys(FAULT_WORDS.get(code, ("", UNKNOWN_ADVICE))[1] for code in codes)
    return [
        finding(
            "rig_faults",
            "; ".join(f"{words}{_times(count)}" for words, count in times.items()) or "none",
            "none",
            ok=not recording.faults,
            advice=" ".join(advice) or FINE_ADVICE,
        )
    ]


def _words(recording: Recording, fault: Fault) -> str:
    """Return what a fault is, where it is, and what the rig itself says of it."""
    name = FAULT_WORDS.get(fault.code, (f"fault {int(fault.code)}", ""))[0]
    names = {data.spec.stream_id: name for name, data in recording.streams.items()}
    unknown = f"stream {fault.stream_id}"
    where = "" if fault.stream_id == NO_STREAM else f", {names.get(fault.stream_id, unknown)}"
    said = "" if fault.detail.lower() in ("", name.lower()) else f" ({fault.detail})"
    return f"{name}{where}{said}"


def _times(count: int) -> str:
    return "" if count == 1 else f" ×{count}"
