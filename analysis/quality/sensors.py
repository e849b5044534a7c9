"""Findings about the sensors: saturation, spikes, calibration."""

from __future__ import annotations

from datetime import date

import numpy as np

from acquisition.rig import STANDARD_GRAVITY_M_S2
from analysis.quality.evidence import Evidence, Recorded, finding
from analysis.runs import runs_of
from analysis.trial import QualityFinding, Severity
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM

GRAVITY_LIMIT_M_S2 = 0.15
"""Gravity itself varies by 0.026 between equator and pole; the rest is offset and scale, and
0.15 is about one degree of inclination."""
GYRO_BIAS_LIMIT_DEG_S = 3.0
CALIBRATION_AGE_LIMIT_DAYS = 365
SCALE_LIMIT_PERCENT = 1.0
STUCK_S = 0.5
"""Noise moves one channel of six within a few samples."""


def saturation(evidence: Evidence) -> list[QualityFinding]:
    """Say how long a channel stood at a rail."""
    share = float(evidence.grid.saturated.mean() * 100.0)
    return [
        finding(
            "saturated",
            f"{share:.2f} % of the time",
            "0 %",
            ok=share == 0.0,
            advice="A saturated sample is no number and is left out: press less, or check the "
            "range of amplifier and sensor.",
        )
    ]


def stuck(evidence: Recorded) -> list[QualityFinding]:
    """Look for sensors that repeat themselves: no converter gives the same counts for long."""
    described = evidence.recording.rig.stabiliser
    names = {FORCE_STREAM, IMU_STREAM, *([] if described is None else [described.stream])}
    findings = []
    for name, stream in evidence.recording.streams.items():
        if name not in names or len(stream.counts) < STUCK_S * stream.spec.rate_hz:
            continue
        repeats, dead = np.ones(len(stream.counts) - 1, dtype=np.bool_), []
        for channel, counts in zip(stream.spec.channels, stream.counts.T, strict=True):
            same = counts[1:] == counts[:-1]
            repeats &= same
            if same.all():
                dead.append(channel.name)
        runs = (stop - start for start, stop in runs_of(repeats))
        longest_s = max(runs, default=0) / stream.spec.rate_hz
        value = f"the same counts for {longest_s * 1e3:.0f} ms at most"
        findings.append(
            finding(
                f"stuck_{name}",
                f"{value}{', never another of ' if dead else ''}{' '.join(dead)}",
                f"{STUCK_S * 1e3:.0f} ms",
                ok=longest_s <= STUCK_S and not dead,
                advice="The sensor hangs or is not read anew: switch the rig off and on, and look "
                "at its cable and at how the firmware reads it.",
            )
        )
    return findings


def spikes(evidence: Evidence) -> list[QualityFinding]:
    """Count single samples that were replaced."""
    count = evidence.grid.spikes_removed
    return [
        finding(
            "spikes",
            f"{count} single values replaced",
            "0",
            ok=count == 0,
            advice="Single samples stood out and were replaced by their neighbours: look at "
            "connectors, shielding and static charge.",
            worse=Severity.NOTE,
        )
    ]


def gravity(evidence: Evidence) -> list[QualityFinding]:
    """Compare what the accelerometer feels at rest with gravity."""
    found = evidence.orientation.felt_at_home_m_s2
    return [
        finding(
            "gravity_at_rest",
            f"{found:.3f} m/s²",
            f"{STANDARD_GRAVITY_M_S2:.3f} ± {GRAVITY_LIMIT_M_S2:g} m/s²",
            ok=abs(found - STANDARD_GRAVITY_M_S2) <= GRAVITY_LIMIT_M_S2,
            advice="The accelerometer's scale or offset is off: calibrate the IMU.",
        )
    ]


def gyro_bias(evidence: Evidence) -> list[QualityFinding]:
    """Say what the gyroscope reads at rest."""
    bias = float(np.rad2deg(np.linalg.norm(evidence.orientation.gyro_bias_rad_s)))
    return [
        finding(
            "gyro_bias",
            f"{bias:.2f} °/s, taken out",
            f"{GYRO_BIAS_LIMIT_DEG_S:g} °/s",
            ok=bias <= GYRO_BIAS_LIMIT_DEG_S,
            advice="Let the IMU warm up, or set imu.gyro_offset_rad_s.",
            worse=Severity.NOTE,
        )
    ]


def calibration_age(evidence: Recorded) -> list[QualityFinding]:
    """Say how old the calibration of the cell was."""
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
        finding(
            "calibration_age",
            value,
            f"{CALIBRATION_AGE_LIMIT_DAYS} days",
            ok=ok,
            advice="Calibrate the cell and set cell.calibrated_on.",
            worse=Severity.NOTE,
        )
    ]


def calibration_range(evidence: Evidence) -> list[QualityFinding]:
    """Say whether the push stayed within what the cell was calibrated with."""
    limit, strongest = evidence.recording.rig.cell.calibrated_to_n, evidence.strongest_n
    beyond = limit is not None and strongest > limit
    advice = (
        "Forces beyond the calibration are extrapolated: press less, or calibrate further."
        if beyond
        else "Set cell.calibrated_to_n, the largest force of the calibration."
    )
    return [
        finding(
            "calibration_range",
            f"{strongest:.0f} N at most" if np.isfinite(strongest) else "no force known",
            "not stated" if limit is None else f"{limit:g} N",
            ok=limit is not None and not beyond,
            advice=advice,
            worse=Severity.WARNING if beyond else Severity.NOTE,
        )
    ]


def second_cell(evidence: Evidence) -> list[QualityFinding]:
    """Say whether the cell under the stabilising hand told anything, on rigs that have one."""
    cell = evidence.recording.rig.stabiliser
    if cell is None:
        return []
    return [
        finding(
            "stabiliser_cell",
            "heard, with a zero" if evidence.stabilising_known else "not heard, or never quiet",
            "heard, with a zero",
            ok=evidence.stabilising_known,
            advice="The stabilising hand is not measured: look at the cable of its cell and at "
            "stabiliser.stream, and begin with both hands off.",
        )
    ]


def scales(evidence: Evidence) -> list[QualityFinding]:
    """Compare the IMU's scales on the wire with those described; another rig's file shows here."""
    stream = evidence.recording.streams[IMU_STREAM]
    described = evidence.recording.rig.imu.scales
    wanted = [described.accel_m_s2] * 3 + [described.gyro_rad_s] * 3
    apart = max(
        (
            abs(channel.scale / scale - 1.0) * 100.0
            for channel, scale in zip(stream.spec.channels, wanted, strict=False)
            if channel.unit in {"m/s2", "rad/s"}
        ),
        default=0.0,
    )
    return [
        finding(
            "imu_scale",
            f"{apart:.2f} % apart",
            f"{SCALE_LIMIT_PERCENT:g} %",
            ok=apart <= SCALE_LIMIT_PERCENT,
            advice="The rig and its description disagree on the IMU's scale: check that it is the "
            "right file.",
        )
    ]
