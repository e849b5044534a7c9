"""The self-test of a rig before use: a short recording, hands off and then one push at home.

The quality findings of any recording, and what only a known situation can show: how large the
zero is, whether the rig's clock runs as ours, whether a push backward and outward reads as one,
and whether the side is the right one. Wrong sides and signs are what spoils a session unseen.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import PhysicalUnits, right_shoulder_geometry
from acquisition.recording.model import Recording
from analysis.directions import mean_direction
from analysis.errors import NotAnalysable
from analysis.pipeline import analyse
from analysis.quality import assess_unresolved, worst_first
from analysis.quality.noise import noise_against_calibration
from analysis.rig_clock import rig_clock
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.trial import QualityFinding, Severity
from analysis.vectors import angle_between
from firmware_protocol.messages import (
    FORCE_STREAM,
    IMU_STREAM,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    Identity,
)

Floats = NDArray[np.float64]

HANDS_OFF_S = 2.0
"""The recording begins with so many seconds hands off."""
NOISE_WINDOW_S = 0.25
"""As `cell.noise_n` states it."""
ZERO_LIMIT_N = 10.0
ZERO_FAULT_SHARE = 0.2
"""Of the range: a cell that reads so much untouched was overloaded, or is wedged in."""
USUAL_RANGE_N = 100.0
"""Where `cell.calibrated_to_n` is not stated: the strongest push of a hand, about."""
PUSH_N = 10.0
PUSH_S = 0.3
NEAR_DEG = 35.0
"""A push aimed by hand lies within this of the target, or something is turned round."""
CLEAR_DEG = 10.0
"""And so much nearer to it than to any mistake: a push straight back says nothing of the side."""
AS_MEANT = "as it was meant"


def check_rig(
    recording: Recording, target: Target | None = None, *, real_time: bool = True
) -> tuple[QualityFinding, ...]:
    """Return every finding on a rig, worst first.

    Args:
        recording: Begins with `HANDS_OFF_S` seconds hands off, then holds a push at home.
        target: Which way the push was meant; None takes the default.
        real_time: It was taken so; played back, nothing is known of the rig's clock.
    """
    target = target or Target()
    clock = (rig_clock(recording),) if real_time else ()
    known = (versions(recording.identity), _zero_offset(recording), *clock)
    try:
        trial = analyse(recording, target)
    except NotAnalysable as why:
        whole = QualityFinding("resolving", Severity.WARNING, str(why), "", "Mend this first.")
        rest = (*assess_unresolved(recording), *_noise(recording))
        return worst_first((whole, *known, *rest))
    return worst_first((*known, *trial.quality, _sign_and_side(trial.series, target)))


def self_test_finding(*, passed: bool | None, detail: str) -> QualityFinding:
    """Return the finding of the rig's own test of its bridges, its IMU and its store.

    Args:
        passed: None if the rig did not do it.
        detail: What the rig said, or why it did not.
    """
    if passed is None:
        advice = "Firmware that tests itself sees a loose cable before it spoils a session."
        return QualityFinding("self_test", Severity.NOTE, f"not done: {detail}", "passed", advice)
    return QualityFinding(
        "self_test",
        Severity.FINE if passed else Severity.WARNING,
        detail or ("passed" if passed else "failed"),
        "passed",
        "The rig itself has found a fault: look at the cable of what it names.",
    )


def versions(identity: Identity) -> QualityFinding:
    """Return who the rig says it is, with its firmware and the protocol that it speaks."""
    spoken = f"{identity.protocol_major}.{identity.protocol_minor}"
    ours = f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}"
    newer = identity.protocol_minor > PROTOCOL_MINOR
    advice = (
        "The rig may know more than this program: bring in a newer perpend to use it."
        if newer
        else "The rig may not know every command: bring in newer firmware to use them."
    )
    return QualityFinding(
        "versions",
        Severity.FINE if spoken == ours else Severity.NOTE,
        f"rig {identity.rig_serial or 'without a serial'}, "
        f"firmware {identity.firmware_version or 'without a version'}, protocol {spoken}, "
        f"boot count {identity.boot_count}",
        f"protocol {ours}",
        f"{advice} What both know works.",
    )


def _zero_offset(recording: Recording) -> QualityFinding:
    """Compare what the untouched cell reads with the weight of the shell alone."""
    force, imu = (recording.streams.get(name) for name in (FORCE_STREAM, IMU_STREAM))
    range_n = recording.rig.cell.calibrated_to_n or USUAL_RANGE_N
    fault_n = max(ZERO_FAULT_SHARE * range_n, ZERO_LIMIT_N)
    limit = f"{ZERO_LIMIT_N:g} N, a fault beyond {fault_n:g} N"
    blank = QualityFinding(
        "zero_offset", Severity.WARNING, "not known", limit, "There are no samples."
    )
    if force is None or imu is None or not len(force.counts) or not len(imu.counts):
        return blank
    units = PhysicalUnits(recording.rig)
    first = [stream.counts[: int(HANDS_OFF_S / 2 * stream.spec.rate_hz)] for stream in (force, imu)]
    measured = units.wrench(first[0], force.spec).force_n.mean(axis=0)
    specific = units.inertial(first[1], imu.spec).specific_force_m_s2.mean(axis=0)
    mass_kg = right_shoulder_geometry(recording.rig).mass_kg
    offset_n = float(np.linalg.norm(measured + mass_kg * specific))
    value = f"{offset_n:.1f} N beyond the shell's weight"
    if not offset_n <= fault_n:
        advice = (
            "So much of the range is gone: the cell was overloaded, a bolt pulls on it, or "
            "cell.zero_counts are another cell's. Unload it, balance or calibrate it anew."
        )
        return replace(blank, value=value, advice=advice)
    return replace(
        blank,
        severity=Severity.FINE if offset_n <= ZERO_LIMIT_N else Severity.NOTE,
        value=value,
        advice="It is taken out; if it grows, the cell was overloaded or a bolt pulls on it.",
    )


def _noise(recording: Recording) -> tuple[QualityFinding, ...]:
    """Return how noisy the cell was hands off, where nothing else could find that."""
    force = recording.streams.get(FORCE_STREAM)
    if force is None:
        return ()
    size = int(NOISE_WINDOW_S * force.spec.rate_hz)
    stop = min(len(force.counts), int(HANDS_OFF_S * force.spec.rate_hz))
    windows = [slice(start, start + size) for start in range(0, stop - size + 1, max(1, size))]
    found = noise_against_calibration(recording, windows) if size > 1 and windows else None
    return () if found is None else (found,)


def _sign_and_side(series: ResolvedSeries, target: Target) -> QualityFinding:
    """Say what a push that was meant backward and outward looks like."""
    push = push_at_home(series)
    limit = f"within {NEAR_DEG:g}° of the target"
    if push is None:
        return QualityFinding(
            "sign_and_side",
            Severity.WARNING,
            "not known: no push at home was seen",
            limit,
            f"Push backward and outward with {PUSH_N:g} N or more, the arm hanging, and hold it.",
        )
    angles = _angles_to_candidates(push, target)
    nearest, second = sorted(angles, key=lambda name: angles[name])[:2]
    off_deg = angles[AS_MEANT]
    told = f"a push {off_deg:.0f}° off the target, "
    if nearest == AS_MEANT and off_deg <= NEAR_DEG and angles[second] - off_deg < CLEAR_DEG:
        return QualityFinding(
            "sign_and_side",
            Severity.WARNING,
            f"{told}too near to one that is {second}",
            limit,
            "Nothing tells them apart then: push again, further outward.",
        )
    looks = nearest if angles[nearest] <= NEAR_DEG else "like none of the usual mistakes"
    return QualityFinding(
        "sign_and_side",
        Severity.FINE if nearest == AS_MEANT and off_deg <= NEAR_DEG else Severity.WARNING,
        f"{told}{looks}",
        limit,
        "Look at rig.side, cell.to_humerus and the signs of the calibration matrix.",
    )


def _angles_to_candidates(push: Floats, target: Target) -> dict[str, float]:
    """Return how far a push lies from what it was meant to be, and from each usual mistake."""
    candidates = _candidates(target.direction)
    if _nearest_mistake_deg(candidates) < 2.0 * CLEAR_DEG:
        # Such a target is its own mirror image, nearly; the person was asked to push outward.
        candidates = _candidates(Target().direction)
    return {name: _degrees(push, direction) for name, direction in candidates.items()}


def _candidates(wanted: Floats) -> dict[str, Floats]:
    return {
        AS_MEANT: wanted,
        "the other way round: the sign of the force is wrong": -wanted,
        "mirrored: the side is wrong, or Z is": wanted * [1.0, 1.0, -1.0],
        "forward and outward: X is the wrong way": wanted * [-1.0, 1.0, 1.0],
    }


def _nearest_mistake_deg(candidates: dict[str, Floats]) -> float:
    wanted = candidates[AS_MEANT]
    return min(_degrees(wanted, one) for name, one in candidates.items() if name != AS_MEANT)


def _degrees(one: Floats, other: Floats) -> float:
    return float(np.rad2deg(angle_between(one, other)))


def push_at_home(series: ResolvedSeries) -> Floats | None:
    """Return the mean direction of a firm push with the arm at home, shape (3,), None if none."""
    with np.errstate(invalid="ignore"):
        firm = (series.magnitude_n > PUSH_N) & (series.elevation_rad < np.deg2rad(5.0))
    firm &= np.isfinite(series.force_n).all(axis=1)
    if firm.sum() < PUSH_S * series.fs_hz:
        return None
    return mean_direction(series.force_n[firm])
