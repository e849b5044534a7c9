"""Where on the spherical head the hand is, from a six-axis wrench.

Bicchi, Salisbury & Brock 1993, Int J Robotics Res 12(3): the wrench of a contact that may also
twist about the surface normal (soft finger) meets the sphere in one point on the pressed side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import Geometry
from analysis.vectors import cross, dot

Floats = NDArray[np.float64]

MIN_COSINE = 0.5
"""Below it the push is so oblique that the point is badly known (δc ≈ δM / (F·cos ψ))."""


def contact_point(force_n: Floats, moment_nm: Floats, radius_m: float) -> Floats:
    """Return the contact point on a sphere about the moment's origin.

    Args:
        force_n: Shape (n, 3), the push of the hand on the sphere.
        moment_nm: Shape (n, 3), about the sphere's centre.
        radius_m: Of the sphere.

    Returns:
        Shape (n, 3), metres from the centre; NaN where the wrench fits no single contact.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        force2, along = dot(force_n, force_n), dot(force_n, moment_nm)
        # s = c·F, the negative root of s⁴ − (r²F² − M²)s² − r²(F·M)² = 0: the hand presses.
        b = radius_m**2 * force2 - dot(moment_nm, moment_nm)
        root = b + np.sqrt(b**2 + 4.0 * radius_m**2 * along**2)
        s = -np.sqrt(np.maximum(root, 0.0) / 2.0)
        cosine = -s / (radius_m * np.sqrt(force2))
        s = np.where(cosine > MIN_COSINE, s, np.nan)
        return _solve(force_n, moment_nm, along / s, s, force2)


def head_contact_points(wrench: Floats, geometry: Geometry) -> Floats | None:
    """Return where on the head the hand is, metres from its centre, shape (n, 3).

    Args:
        wrench: Shape (n, 6) about the cell's origin, or (n, 3): then None.
        geometry: Says where head and cell are.
    """
    if wrench.shape[1] == 3:
        return None
    to_head = geometry.head_centre_m - geometry.cell_origin_m
    moment = shift_moment(wrench[:, 3:], wrench[:, :3], to_head)
    return contact_point(wrench[:, :3], moment, geometry.head_radius_m)


def shift_moment(moment_nm: Floats, force_n: Floats, to_m: Floats) -> Floats:
    """Return moments (n, 3) about another origin *to_m* (3,), given in the old frame."""
    return np.asarray(moment_nm - cross(to_m, force_n))


def _solve(force: Floats, moment: Floats, kappa: Floats, s: Floats, force2: Floats) -> Floats:
    """Return c of κ·c + c×F = M with c·F = s.

    Crossing the equation with F from the left and inserting c·F gives
    c = (κ·M + F×M + s·F) / (κ² + F²), which holds for κ = 0 too.
    """
    numerator = kappa * moment.T + cross(force, moment).T + s * force.T
    return np.asarray(numerator / (kappa**2 + force2)).T
