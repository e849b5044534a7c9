"""Elevation and plane of elevation of the humerus, as the ISB recommends them.

Wu et al. 2005, J Biomech 38:981: both are read off the distal axis in the base frame B.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.turns import Turns

Floats = NDArray[np.float64]


def distal_axis(humerus_to_base: Turns) -> Floats:
    """Return where the arm points, in B, shape (n, 3): −Y of H."""
    return -humerus_to_base.image_of_y()


def elevation(distal: Floats) -> Floats:
    """Return the angle of distal axes (n, 3) in B from straight down, shape (n,), radians."""
    return np.asarray(np.arctan2(_outward(distal), -distal[:, 1]))


def plane_of_elevation(distal: Floats, min_elevation_rad: float) -> Floats:
    """Return the azimuth of distal axes (n, 3) in B about Y, shape (n,), radians.

    0 in the frontal plane, +π/2 straight ahead; NaN below *min_elevation_rad*, and as near to
    straight up, where it is not defined.
    """
    plane = np.arctan2(distal[:, 0], distal[:, 2])
    plane[_outward(distal) < np.sin(min_elevation_rad)] = np.nan
    return np.asarray(plane)


def elevation_speed(humerus_to_base: Turns, distal: Floats, rate_rad_s: Floats) -> Floats:
    """Return how fast the elevation grows, shape (n,), rad/s.

    Args:
        humerus_to_base: n rotations.
        distal: Shape (n, 3), their `distal_axis`.
        rate_rad_s: Shape (n, 3), angular rate in H.
    """
    # ω × (−Y) in H is (ω_z, 0, −ω_x).
    turning = np.array([rate_rad_s[:, 2], np.zeros(len(rate_rad_s)), -rate_rad_s[:, 0]]).T
    change = humerus_to_base.apply(turning)
    out = _outward(distal)
    # At the hanging arm every direction is outward: there the speed is that of the tip.
    outward = (distal[:, 0] * change[:, 0] + distal[:, 2] * change[:, 2]) / np.maximum(out, 1e-9)
    outward = np.where(out > 1e-3, outward, _outward(change))
    return np.asarray(-distal[:, 1] * outward + out * change[:, 1])


def _outward(vectors: Floats) -> Floats:
    """Return the horizontal size of vectors (n, 3), shape (n,)."""
    return np.asarray(np.sqrt(vectors[:, 0] ** 2 + vectors[:, 2] ** 2))
