"""What a recording can be trusted for: named findings, each with a limit and what to do.

A new finding is one function and one line in `CHECKS`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np

from acquisition.recording.model import Recording, StreamData
from acquisition.rig import STANDARD_GRAVITY_M_S2
from analysis.orientation import Orientation
from analysis.timebase import EvenSamples
from analysis.trial import QualityFinding, Severity
from analysis.zero import Zero
from firmware_protocol.messages import IMU_STREAM

RATE_LIMIT_PPM = 10_000.0
"""Inertial sensors keep their data rate to a percent or so (common practice); the times of the
samples come from the rig's clock in any case."""
GRAVITY_LIMIT_M_S2 = 0.15
HOME_TILT_LIMIT_DEG = 2.0
HEADING_DRIFT_LIMIT_DEG = 2.0
GYRO_BIAS_LIMIT_DEG_S = 3.0
NOISE_LIMIT_N = 0.3
ZERO_SCATTER_LIMIT_N = 0.3
MIN_ZERO_S = 0.5
CALIBRATION_AGE_LIMIT_DAYS = 365
SCALE_LIMIT_PERCENT = 1.0


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that the checks look at."""

    recording: Recording
    samples: EvenSamples
    orientation: Orientation
    zero: Zero


def assess(evidence: Evidence) -> tuple[QualityFinding, ...]:
    """Return every finding, worst first, otherwise in the order of `CHECKS`."""
    order = {Severity.WARNING: 0, Severity.NOTE: 1, Severity.FINE: 2}
    found = [finding for check in CHECKS for finding in check(evidence)]
    return tuple(sorted(found, key=lambda finding: order[finding.severity]))


def _finding(
    key: str, value: str, limit: str, *, ok: bool, advice: str, worse: Severity = Severity.WARNING
) -> QualityFinding:
    return QualityFinding(key, Severity.FINE if ok else worse, value, limit, advice)


def _status(evidence: Evidence) -> list[QualityFinding]:
    status = evidence.recording.status
    return [
        _finding(
            "recording_status",
            status,
            "complete",
            ok=status == "complete",
            advice="A recording that was cut off holds everything up to its last half second.",
            worse=Severity.NOTE,
        )
    ]


def _lost(evidence: Evidence) -> list[QualityFinding]:
    findings = []
    for name, stream in evidence.recording.streams.items():
        lost, longest_s = losses(stream)
        total = lost + len(stream.counts)
        findings.append(
            _finding(
                f"lost_samples_{name}",
                f"{lost} of {total}, longest gap {longest_s * 1e3:.0f} ms",
                "0",
                ok=lost == 0,
                advice="Lost samples stay gaps. Look at cable, hub and USB power saving.",
                worse=Severity.NOTE if lost < 0.02 * total else Severity.WARNING,
            )
        )
    return findings


def losses(stream: StreamData) -> tuple[int, float]:
    """Return how many samples are missing between first and last, and the longest gap, seconds.

    Only inside segments: what passed while the line was down cannot be counted.
    """
    if len(stream.sample_number) < 2:
        return 0, 0.0
    step = np.diff(stream.sample_number)
    inside = np.diff(stream.segment) == 0
    jumps = np.where(inside & (step > 1), step - 1, 0)
    return int(jumps.sum()), float(jumps.max() / stream.spec.rate_hz)


def _segments(evidence: Evidence) -> list[QualityFinding]:
    segments = {
        int(segment)
        for stream in evidence.recording.streams.values()
        for segment in np.unique(stream.segment)
    }
    return [
        _finding(
            "segments",
            f"{len(segments)}",
            "1",
            ok=len(segments) <= 1,
            advice="The line or the rig came back anew; its zero may have moved meanwhile.",
        )
    ]


def _rate(evidence: Evidence) -> list[QualityFinding]:
    findings = []
    for name, stream in evidence.recording.streams.items():
        measured = effective_rate_hz(stream)
        if measured is None:
            continue
        ppm = (measured / stream.spec.rate_hz - 1.0) * 1e6
        findings.append(
            _finding(
                f"rate_{name}",
                f"{measured:.3f} Hz ({ppm:+.0f} ppm)",
                f"{stream.spec.rate_hz:g} Hz ± {RATE_LIMIT_PPM:g} ppm",
                ok=abs(ppm) <= RATE_LIMIT_PPM,
                advice="The rig samples at another rate than it says; times come from its clock, "
                "so measures hold, but look at the firmware.",
                worse=Severity.NOTE,
            )
        )
    return findings


def effective_rate_hz(stream: StreamData) -> float | None:
    """Return samples per second of the rig's clock over the longest segment, None if too short."""
    if len(stream.segment) < 2:
        return None
    values, counts = np.unique(stream.segment, return_counts=True)
    inside = np.flatnonzero(stream.segment == values[np.argmax(counts)])
    first, last = inside[0], inside[-1]
    span_us = stream.device_time_us[last] - stream.device_time_us[first]
    if span_us <= 0:
        return None
    return float((stream.sample_number[last] - stream.sample_number[first]) / span_us * 1e6)


def _saturation(evidence: Evidence) -> list[QualityFinding]:
    share = float(evidence.samples.saturated.mean() * 100.0)
    return [
        _finding(
            "saturated",
            f"{share:.2f} % of the time",
            "0 %",
            ok=share == 0.0,
            advice="A saturated sample is no number and is left out. Press less, or check the "
            "range of amplifier and sensor.",
        )
    ]


def _link(evidence: Evidence) -> list[QualityFinding]:
    counts = evidence.recording.counts
    return [
        _finding(
            "damaged_frames",
            f"{counts.bad_frames} of {counts.frames + counts.bad_frames}",
            "0",
            ok=counts.bad_frames == 0,
            advice="Frames failed their checksum and were thrown away, never guessed.",
            worse=Severity.NOTE,
        ),
        _finding(
            "dropped_by_rig_or_host",
            f"{counts.rig_overrun_samples} by the rig, {counts.dropped_by_host_samples} by us",
            "0",
            ok=counts.rig_overrun_samples == counts.dropped_by_host_samples == 0,
            advice="Somebody could not keep up: use a faster port or close other programs.",
        ),
    ]


def _zero(evidence: Evidence) -> list[QualityFinding]:
    zero = evidence.zero
    return [
        _finding(
            "zero",
            f"from {zero.seconds:.1f} s ({zero.source})",
            f"at least {MIN_ZERO_S:g} s",
            ok=zero.seconds >= MIN_ZERO_S,
            advice="Begin each recording with two seconds hands off.",
        ),
        _finding(
            "zero_scatter",
            f"{zero.scatter_n:.2f} N between untouched windows",
            f"{ZERO_SCATTER_LIMIT_N:g} N",
            ok=zero.scatter_n <= ZERO_SCATTER_LIMIT_N,
            advice="The zero moves: let the rig warm up, look for a cable that pulls.",
        ),
        _finding(
            "noise",
            f"{zero.noise_n:.3f} N, filtered, one component",
            f"{NOISE_LIMIT_N:g} N",
            ok=zero.noise_n <= NOISE_LIMIT_N,
            advice="The cell is noisy: look at shielding, supply and vibration of the bench.",
        ),
    ]


def _gravity(evidence: Evidence) -> list[QualityFinding]:
    resting = evidence.samples.specific_force_m_s2[evidence.orientation.at_home]
    found = float(np.linalg.norm(resting, axis=1).mean())
    return [
        _finding(
            "gravity_at_rest",
            f"{found:.3f} m/s²",
            f"{STANDARD_GRAVITY_M_S2:.3f} ± {GRAVITY_LIMIT_M_S2:g} m/s²",
            ok=abs(found - STANDARD_GRAVITY_M_S2) <= GRAVITY_LIMIT_M_S2,
            advice="The accelerometer's scale or offset is off: calibrate the IMU.",
        )
    ]


def _home(evidence: Evidence) -> list[QualityFinding]:
    tilt_deg = float(np.rad2deg(evidence.orientation.home_tilt_rad))
    drift_deg = float(np.rad2deg(evidence.orientation.heading_drift_rad))
    return [
        _finding(
            "home_tilt",
            f"{tilt_deg:.2f}°",
            f"{HOME_TILT_LIMIT_DEG:g}°",
            ok=tilt_deg <= HOME_TILT_LIMIT_DEG,
            advice="At home gravity does not point where the rig description says: the IMU was "
            "knocked, or the bench slopes (home.vertical_in_base).",
        ),
        _finding(
            "heading_drift",
            f"{drift_deg:.2f}° at most between two rests",
            f"{HEADING_DRIFT_LIMIT_DEG:g}°",
            ok=drift_deg <= HEADING_DRIFT_LIMIT_DEG,
            advice="Azimuth is corrected linearly between rests; rest at home more often.",
        ),
    ]


def _gyro(evidence: Evidence) -> list[QualityFinding]:
    bias = float(np.rad2deg(np.linalg.norm(evidence.orientation.gyro_bias_rad_s)))
    return [
        _finding(
            "gyro_bias",
            f"{bias:.2f} °/s, taken out",
            f"{GYRO_BIAS_LIMIT_DEG_S:g} °/s",
            ok=bias <= GYRO_BIAS_LIMIT_DEG_S,
            advice="Let the IMU warm up, or set imu.gyro_offset_rad_s.",
            worse=Severity.NOTE,
        )
    ]


def _calibration_age(evidence: Evidence) -> list[QualityFinding]:
    calibrated = evidence.recording.rig.cell.calibrated_on
    try:
        recorded = date.fromisoformat(evidence.recording.started_utc[:10])
    except ValueError:
        recorded = None
    if calibrated is None or recorded is None:
        value, ok = "unknown", False
    else:
        age = (recorded - calibrated).days
        value, ok = f"{age} days", 0 <= age <= CALIBRATION_AGE_LIMIT_DAYS
    return [
        _finding(
            "calibration_age",
            value,
            f"{CALIBRATION_AGE_LIMIT_DAYS} days",
            ok=ok,
            advice="Calibrate the cell and set cell.calibrated_on.",
            worse=Severity.NOTE,
        )
    ]


def _scales(evidence: Evidence) -> list[QualityFinding]:
    # A rig description of another rig shows here.
    stream = evidence.recording.streams[IMU_STREAM]
    scales = evidence.recording.rig.imu.scales
    wanted = [scales.accel_m_s2] * 3 + [scales.gyro_rad_s] * 3
    units = {"m/s2", "rad/s"}
    apart = max(
        (
            abs(channel.scale / scale - 1.0) * 100.0
            for channel, scale in zip(stream.spec.channels, wanted, strict=False)
            if channel.unit in units
        ),
        default=0.0,
    )
    return [
        _finding(
            "imu_scale",
            f"{apart:.2f} % apart",
            f"{SCALE_LIMIT_PERCENT:g} %",
            ok=apart <= SCALE_LIMIT_PERCENT,
            advice="The rig and its description disagree on the IMU's scale: is it the right file?",
        )
    ]


def _identity(evidence: Evidence) -> list[QualityFinding]:
    serial, described = evidence.recording.identity.rig_serial, evidence.recording.rig.rig.id
    return [
        _finding(
            "rig_identity",
            f"rig says {serial or 'nothing'}, description is of {described}",
            "the same",
            ok=serial == described,
            advice="Calibration of another rig? Use the description of this one.",
        )
    ]


CHECKS: tuple[Callable[[Evidence], list[QualityFinding]], ...] = (
    _status,
    _identity,
    _lost,
    _segments,
    _saturation,
    _link,
    _zero,
    _gravity,
    _home,
    _gyro,
    _rate,
    _scales,
    _calibration_age,
)
