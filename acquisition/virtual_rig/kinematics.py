"""The arm as a closed-form function of time: pose, angular velocity, angular acceleration.

Right shoulder, ISB sequence (Wu et al. 2005, J Biomech 38:981): R_BH = Ry(plane) ·
Rx(−elevation) · Ry(axial). Raises and lowers follow the minimum-jerk law (Flash & Hogan 1985,
J Neurosci 5:1688). Everything is written out, nothing is differentiated numerically.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Angle:
    """An angle over time with its first two derivatives, each of shape (n,)."""

    rad: Floats
    rad_s: Floats
    rad_s2: Floats


@dataclass(frozen=True, slots=True)
class ArmMotion:
    """Pose and motion of the humerus.

    Attributes:
        elevation: Of the distal axis from straight down.
        humerus_to_base: Shape (n, 3, 3), takes a vector in H to B.
        rate_rad_s: Shape (n, 3), angular velocity in H.
        acceleration_rad_s2: Shape (n, 3), angular acceleration in H.
    """

    elevation: Angle
    humerus_to_base: Floats
    rate_rad_s: Floats
    acceleration_rad_s2: Floats


def minimum_jerk(phase: Floats) -> tuple[Floats, Floats, Floats]:
    """Return position, velocity and acceleration of the unit minimum-jerk movement.

    Args:
        phase: Time over duration; before 0 and after 1 the movement rests.
    """
    at = np.clip(phase, 0.0, 1.0)
    position = at**3 * (10.0 + at * (-15.0 + at * 6.0))
    velocity = 30.0 * at**2 * (1.0 - at) ** 2
    acceleration = 60.0 * at * (1.0 - at) * (1.0 - 2.0 * at)
    return position, velocity, acceleration


def excursion(
    time_s: Floats,
    *,
    top_rad: float,
    raise_start_s: float,
    raise_s: float,
    lower_start_s: float,
    lower_s: float,
) -> Angle:
    """Return the elevation of one raise and lower; 0 before and after.

    Args:
        time_s: Shape (n,).
        top_rad: Elevation reached.
        raise_start_s: The arm leaves home.
        raise_s: How long it rises.
        lower_start_s: It leaves the top.
        lower_s: How long it sinks.
    """
    up = minimum_jerk((time_s - raise_start_s) / raise_s)
    down = minimum_jerk((time_s - lower_start_s) / lower_s)
    return Angle(
        top_rad * (up[0] - down[0]),
        top_rad * (up[1] / raise_s - down[1] / lower_s),
        top_rad * (up[2] / raise_s**2 - down[2] / lower_s**2),
    )


def isb_rotation(plane_rad: Floats, elevation_rad: Floats, axial_rad: Floats) -> Floats:
    """Return Ry(plane) · Rx(−elevation) · Ry(axial), shape (n, 3, 3), multiplied out."""
    sp, cp = np.sin(plane_rad), np.cos(plane_rad)
    se, ce = np.sin(elevation_rad), np.cos(elevation_rad)
    sa, ca = np.sin(axial_rad), np.cos(axial_rad)
    rows = [
        [cp * ca - sp * ce * sa, -sp * se, cp * sa + sp * ce * ca],
        [-se * sa, ce, se * ca],
        [-sp * ca - cp * ce * sa, -cp * se, -sp * sa + cp * ce * ca],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def arm_motion(elevation: Angle, *, plane_rad: float, axial_ratio: float) -> ArmMotion:
    """Return the motion of an arm raised in one plane.

    The axial rotation is −plane + *axial_ratio* · elevation, so that home is the identity.

    Args:
        elevation: Over time.
        plane_rad: Plane of elevation, 0 frontal, + forward.
        axial_ratio: Axial rotation gained per elevation, + internal.
    """
    axial = -plane_rad + axial_ratio * elevation.rad
    axial_rate = axial_ratio * elevation.rad_s
    sa, ca = np.sin(axial), np.cos(axial)
    e1, e2 = elevation.rad_s, elevation.rad_s2
    rate = np.stack([-e1 * ca, axial_rate, -e1 * sa], axis=1)
    acceleration = np.stack(
        [-e2 * ca + e1 * axial_rate * sa, axial_ratio * e2, -e2 * sa - e1 * axial_rate * ca],
        axis=1,
    )
    plane = np.full_like(axial, plane_rad)
    return ArmMotion(elevation, isb_rotation(plane, elevation.rad, axial), rate, acceleration)
