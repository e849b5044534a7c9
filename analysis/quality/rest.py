"""Findings at the rests at home: the zero, the pose, the heading."""

from __future__ import annotations

import numpy as np

from analysis.quality.evidence import Evidence, finding
from analysis.trial import QualityFinding

HOME_TILT_LIMIT_DEG = 2.0
HOME_SHIFT_LIMIT_DEG = 1.0
HEADING_DRIFT_LIMIT_DEG = 2.0
ZERO_SCATTER_LIMIT_N = 0.1
"""Half the calibration uncertainty of a good cell. Ours."""
RESIDUAL_LIMIT_N = 1.0
MIN_ZERO_S = 0.5


def zero(evidence: Evidence) -> list[QualityFinding]:
    """Say where the zero comes from and whether it holds."""
    found = evidence.zero
    return [
        finding(
            "zero",
            f"from {found.seconds:.1f} s ({found.source})",
            f"at least {MIN_ZERO_S:g} s",
            ok=found.seconds >= MIN_ZERO_S,
            advice="Begin each recording with two seconds hands off.",
        ),
        finding(
            "zero_event",
            "refused: the cell was not quiet before it" if found.event_refused else "not refused",
            "a quiet second before it",
            ok=not found.event_refused,
            advice="Somebody took a zero with a hand on the cell; the rests at home were used "
            "instead. Look whether hands were off there.",
        ),
        finding(
            "zero_scatter",
            f"{found.scatter_n:.2f} N between untouched windows",
            f"{ZERO_SCATTER_LIMIT_N:g} N",
            ok=found.scatter_n <= ZERO_SCATTER_LIMIT_N,
            advice="The zero moves: let the rig warm up, look for a cable that pulls.",
        ),
        finding(
            "residual_force",
            f"{found.apart_n:.2f} N at most in quiet rests at home",
            f"{RESIDUAL_LIMIT_N:g} N",
            ok=found.apart_n <= RESIDUAL_LIMIT_N,
            advice="At another rest the quiet cell showed another force: a hand or a sleeve lay on "
            "it, or the zero moved. Keep hands off between repetitions.",
        ),
    ]


def home_pose(evidence: Evidence) -> list[QualityFinding]:
    """Say how well home is home, and whether it moved."""
    tilt_deg = float(np.rad2deg(evidence.orientation.home_tilt_rad))
    shift_deg = float(np.rad2deg(evidence.orientation.home_shift_rad))
    return [
        finding(
            "home_tilt",
            f"{tilt_deg:.2f}°",
            f"{HOME_TILT_LIMIT_DEG:g}°",
            ok=tilt_deg <= HOME_TILT_LIMIT_DEG,
            advice="At home gravity does not point where the rig description says: the IMU was "
            "knocked, or the bench slopes (home.vertical_in_base).",
        ),
        finding(
            "home_shift",
            f"{shift_deg:.2f}° at most from one rest to the next",
            f"{HOME_SHIFT_LIMIT_DEG:g}°",
            ok=shift_deg <= HOME_SHIFT_LIMIT_DEG,
            advice="The arm came back to another place, or the rig was bumped: look at the stop "
            "and at what holds the block.",
        ),
    ]


def bumped(evidence: Evidence) -> list[QualityFinding]:
    """Say when the base leaned for good while it recorded, or may have."""
    orientation, time_s = evidence.orientation, evidence.grid.time_s
    when = [
        f"{np.rad2deg(bump.leaned_rad):.1f}° before {time_s[bump.at]:.0f} s"
        for bump in orientation.bumps
    ]
    when += [
        f"perhaps {np.rad2deg(doubt.away_rad):.1f}° between {time_s[doubt.start]:.0f} and "
        f"{time_s[doubt.stop - 1]:.0f} s"
        for doubt in orientation.doubts
        if not doubt.bumped
    ]
    when += [
        f"turned by {np.rad2deg(turn.by_rad):.1f}° between {time_s[turn.start]:.0f} and "
        f"{time_s[turn.stop]:.0f} s"
        for turn in orientation.turns
    ]
    return [
        finding(
            "rig_bumped",
            ", ".join(when) or "never",
            "never",
            ok=not when,
            advice="The rig was moved: from the rest at home named on, the vertical seen there "
            "counts. Or, where it says perhaps, the arm did not come home. What was measured "
            "meanwhile is left out. Look at the clamp, and rest at home after each repetition.",
        )
    ]


def heading(evidence: Evidence) -> list[QualityFinding]:
    """Say how far the heading drifted between rests, and where it is unknown."""
    drift_deg = float(np.rad2deg(evidence.orientation.heading_drift_rad))
    unknown = float(np.isinf(evidence.orientation.heading_age_s).mean() * 100.0)
    return [
        finding(
            "heading_drift",
            f"{drift_deg:.2f}° at most between two rests",
            f"{HEADING_DRIFT_LIMIT_DEG:g}°",
            ok=drift_deg <= HEADING_DRIFT_LIMIT_DEG,
            advice="Azimuth is corrected linearly between rests: rest at home more often.",
        ),
        finding(
            "heading_unknown",
            f"{unknown:.1f} % of the time",
            "0 %",
            ok=unknown == 0.0,
            advice="The inertial unit was not heard for long and the arm did not rest at home "
            "since, so there is no azimuth: rest at home after each interruption.",
        ),
    ]
