"""Taking the shell's weight and inertia out of what the load cell measures.

The cell carries the shell. With f the specific force (acceleration minus gravity) at the
shell's centre of mass, the hand's push is F = F_measured + m·f − b, everything in one frame:
gravity and inertia go in one line, and no orientation is needed. b is what the same line gives
while nobody touches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import Geometry
from analysis.vectors import cross, side_by_side

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ShellMotion:
    """How the humerus moves, in H of a right shoulder; shapes (n, 3)."""

    specific_force_m_s2: Floats
    angular_rate_rad_s: Floats
    angular_acceleration_rad_s2: Floats

    def rows(self, part: slice) -> ShellMotion:
        """Return a part of it."""
        return ShellMotion(
            self.specific_force_m_s2[part],
            self.angular_rate_rad_s[part],
            self.angular_acceleration_rad_s2[part],
        )


def specific_force_at(point_m: Floats, geometry: Geometry, motion: ShellMotion) -> Floats:
    """Carry the specific force from the IMU to another point of the same rigid body.

    Args:
        point_m: Shape (3,), in H.
        geometry: Says where the IMU is.
        motion: The specific force at the IMU, and the turning.

    Returns:
        Shape (n, 3): f + ω̇×r + ω×(ω×r), r from the IMU to the point.
    """
    lever = point_m - geometry.imu_m
    rate = motion.angular_rate_rad_s
    return np.asarray(
        motion.specific_force_m_s2
        + cross(motion.angular_acceleration_rad_s2, lever)
        + cross(rate, cross(rate, lever))
    )


def hand_wrench(
    measured: Floats, geometry: Geometry, motion: ShellMotion, *, compensate: bool = True
) -> Floats:
    """Return the hand's wrench, before the zero is taken off, shape (n, 3 or 6).

    The shell is taken as a point mass: its own moment of inertia turns too slowly to matter
    here (0.1 g·m² at 2 rad/s² is 0.2 mN·m).

    Args:
        measured: Shape (n, 3), force, or (n, 6), with the moment about the cell's origin; in H.
        geometry: Mass and places.
        motion: Filtered like the measured wrench, so that the two stay in step.
        compensate: False leaves the shell's weight in; only to show what that does.
    """
    if not compensate:
        return measured
    pull = geometry.mass_kg * specific_force_at(geometry.com_m, geometry, motion)
    if measured.shape[1] == 3:
        return np.asarray(measured + pull)
    arm = geometry.com_m - geometry.cell_origin_m
    return np.asarray(measured + side_by_side(pull, cross(arm, pull)))
