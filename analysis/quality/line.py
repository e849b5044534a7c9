"""Findings about the line: what came, what was lost on the way, and when it was sampled."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from acquisition.recording.model import StreamData
from analysis.quality.evidence import Evidence, Recorded, finding, longest_line, losses
from analysis.sample_times import segments_of
from analysis.trial import QualityFinding, Severity
from firmware_protocol.codec import MAX_BLOCK_SAMPLES

RATE_LIMIT_PPM = 10_000.0
"""Inertial sensors keep their data rate to a percent or so (common practice); the times of the
samples come from the rig's clock in any case."""
RATE_FAULT_PPM = 100_000.0
"""No sensor drifts so far: the firmware takes another rate than it tells."""
JITTER_LIMIT_SHARE = 0.25
LOSS_WARNING_SHARE = 0.02
SILENT_LIMIT_S = 0.5
"""Ours; blocks of two streams end some hundredths of a second apart."""
MISSING_WARNING_PERCENT = 2.0


def status(evidence: Recorded) -> list[QualityFinding]:
    """Say how the recording ended."""
    how = evidence.recording.status
    return [
        finding(
            "recording_status",
            how,
            "complete",
            ok=how == "complete",
            advice="A recording that was cut off holds everything up to its last half second; "
            "look at how the last repetition ends.",
            worse=Severity.NOTE,
        )
    ]


def content(evidence: Recorded) -> list[QualityFinding]:
    """Return whether the recording is what it was when it was closed."""
    changed = evidence.recording.changed
    value = "changed since it was closed" if changed else "as it was when it was closed"
    advice = (
        "Trust no number of it: perpend verify says what is wrong, salvage keeps what is whole."
    )
    return [finding("content", value, "", ok=not changed, advice=advice)]


def identity(evidence: Recorded) -> list[QualityFinding]:
    """Compare the rig on the wire with the one described."""
    serial, described = evidence.recording.identity.rig_serial, evidence.recording.rig.rig.id
    return [
        finding(
            "rig_identity",
            f"rig says {serial or 'nothing'}, description is of {described}",
            "the same",
            ok=serial == described,
            advice="The calibration may be another rig's: use the description of this one.",
        )
    ]


def lost(evidence: Recorded) -> list[QualityFinding]:
    """Count lost samples of each stream."""
    findings = []
    for name, stream in evidence.recording.streams.items():
        count, longest_s = losses(stream)
        total = count + len(stream.counts)
        few = count < LOSS_WARNING_SHARE * total
        findings.append(
            finding(
                f"lost_samples_{name}",
                f"{count} of {total}, longest gap {longest_s * 1e3:.0f} ms",
                "0",
                ok=count == 0,
                advice="Lost samples stay gaps: look at cable, hub and USB power saving.",
                worse=Severity.NOTE if few else Severity.WARNING,
            )
        )
    return findings


def missing(evidence: Evidence) -> list[QualityFinding]:
    """Say how much of the time holds no data."""
    share = float(evidence.grid.missing.mean() * 100.0)
    return [
        finding(
            "missing_time",
            f"{share:.2f} % of the time",
            "0 %",
            ok=share == 0.0,
            advice="There nothing is measured and nothing is guessed; see the lost samples.",
            worse=Severity.NOTE if share < MISSING_WARNING_PERCENT else Severity.WARNING,
        )
    ]


def silent(evidence: Recorded) -> list[QualityFinding]:
    """Look for streams that begin or end far from the others, or pause: a sensor was silent.

    A pause is a gap in time over which the numbers go on; where they jump it counts as lost.
    """
    streams = evidence.recording.streams
    spans: dict[int, dict[str, tuple[int, int]]] = {}
    for name, stream in streams.items():
        for segment, rows in segments_of(stream):
            times = stream.device_time_us[rows]
            spans.setdefault(segment, {})[name] = int(times[0]), int(times[-1])
    absent_s = {
        name: max(_absent_s(spans.values(), name), _paused_s(stream))
        for name, stream in streams.items()
    }
    silent = [
        f"{name} for {lasted_s:.1f} s"
        for name, lasted_s in absent_s.items()
        if lasted_s > SILENT_LIMIT_S + MAX_BLOCK_SAMPLES / streams[name].spec.rate_hz
    ]
    return [
        finding(
            "silent_streams",
            ", ".join(silent) or "none",
            f"{SILENT_LIMIT_S:g} s and a block",
            ok=not silent,
            advice="Of this stream nothing came for so long, while the rig went on: look at the "
            "cable of its sensor.",
        )
    ]


def _absent_s(spans: Iterable[Mapping[str, tuple[int, int]]], name: str) -> float:
    """Return for how long a stream was absent at most, where another one was there."""
    absent_us = 0
    for those in spans:
        first = min(begin for begin, _ in those.values())
        last = max(end for _, end in those.values())
        begin, end = those.get(name, (last, first))
        absent_us = max(absent_us, begin - first, last - end)
    return absent_us * 1e-6


def _paused_s(stream: StreamData) -> float:
    """Return the longest time between two samples with consecutive numbers."""
    longest_us = 0
    for _, rows in segments_of(stream):
        goes_on = np.diff(stream.sample_number[rows]) == 1
        apart_us = np.diff(stream.device_time_us[rows])[goes_on]
        longest_us = max(longest_us, int(apart_us.max(initial=0)))
    return longest_us * 1e-6


def segments(evidence: Recorded) -> list[QualityFinding]:
    """Count how often the line or the rig came back anew."""
    parts = {
        segment
        for stream in evidence.recording.streams.values()
        for segment, _ in segments_of(stream)
    }
    return [
        finding(
            "segments",
            f"{len(parts)}",
            "1",
            ok=len(parts) <= 1,
            advice="The line or the rig came back anew and its zero may have moved meanwhile: "
            "rest at home, hands off, after each return.",
        )
    ]


def rate(evidence: Recorded) -> list[QualityFinding]:
    """Compare each stream's rate by the rig's clock with what the rig says it is."""
    findings = []
    for name, stream in evidence.recording.streams.items():
        line = longest_line(stream)
        if line is None:
            continue
        ppm = (line.rate_hz / stream.spec.rate_hz - 1.0) * 1e6
        findings.append(
            finding(
                f"rate_{name}",
                f"{line.rate_hz:.3f} Hz ({ppm:+.0f} ppm)",
                f"{stream.spec.rate_hz:g} Hz ± {RATE_LIMIT_PPM:g} ppm, "
                f"a fault beyond {RATE_FAULT_PPM:g} ppm",
                ok=abs(ppm) <= RATE_LIMIT_PPM,
                advice="The rig samples at another rate than it says; times come from its clock, "
                "so measures hold, but look at the firmware.",
                worse=Severity.NOTE if abs(ppm) <= RATE_FAULT_PPM else Severity.WARNING,
            )
        )
    return findings


def jitter(evidence: Recorded) -> list[QualityFinding]:
    """Say how far the time stamps of each stream lie from an even spacing."""
    findings = []
    for name, stream in evidence.recording.streams.items():
        line = longest_line(stream)
        if line is None:
            continue
        limit_s = JITTER_LIMIT_SHARE / stream.spec.rate_hz
        what = "taken out" if line.fits else "kept, as they do not lie on a line"
        findings.append(
            finding(
                f"jitter_{name}",
                f"{line.jitter_s * 1e6:.0f} µs SD, {what}",
                f"{limit_s * 1e6:.0f} µs",
                ok=line.fits and line.jitter_s <= limit_s,
                advice="The rig stamps its samples unevenly: stamp them where they are taken.",
                worse=Severity.NOTE,
            )
        )
    return findings


def link(evidence: Recorded) -> list[QualityFinding]:
    """Say what the line damaged and who could not keep up."""
    counts = evidence.recording.counts
    return [
        finding(
            "damaged_frames",
            f"{counts.bad_frames} of {counts.frames + counts.bad_frames}",
            "0",
            ok=counts.bad_frames == 0,
            advice="Frames failed their checksum and were thrown away, never guessed: look at the "
            "cable and what runs beside it.",
            worse=Severity.NOTE,
        ),
        finding(
            "reordered_samples",
            f"{counts.reordered_samples} came too late, {counts.repeated_samples} came twice",
            "0 too late",
            ok=counts.reordered_samples == 0,
            advice="Blocks came out of order and those behind their time were left out: they are "
            "gaps. Look at what lies between the rig and this computer.",
            worse=Severity.NOTE,
        ),
        finding(
            "dropped_by_rig_or_host",
            f"{counts.rig_overrun_samples} by the rig, {counts.dropped_by_host_samples} by us",
            "0",
            ok=counts.rig_overrun_samples == counts.dropped_by_host_samples == 0,
            advice="Somebody could not keep up: use a faster port or close other programs.",
        ),
    ]
