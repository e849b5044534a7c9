"""Standard uncertainty of a direction, to first order, from what is known now.

For the hand's push F, a unit tangent ê at its direction and W the shell's weight:

    u² = êᵀ Σ_F ê / F²  +  c Σ_δ c  +  u_δ² ‖(F + W) × ê‖² / F²  +  (u_m g)² (ê·ŷ)² / F²

Σ_F is the covariance of the force (noise, zero, calibration). c = F × ê / F is what a small
rotation about each axis moves along ê: inclination about the horizontal axes, heading about the
vertical, growing with the time from a rest at home. A mounting error u_δ between cell and IMU
turns what the cell measures, push and weight together, against the weight that is taken off. The
last term is the shell's mass. Azimuth moves with the heading one to one, the superior angle not
at all. Systematic parts do not shrink with averaging.

GUM (JCGM 100:2008) clause 5.1.2, uncorrelated inputs. A full budget by Monte Carlo belongs here
too when it comes; nothing outside this module knows the parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import right_shoulder_geometry
from acquisition.rig import STANDARD_GRAVITY_M_S2, RigDescription
from analysis.vectors import cross, dot

Floats = NDArray[np.float64]

ON_TARGET_RAD = 1e-6
"""So near to the target there is no direction away from it."""


@dataclass(frozen=True, slots=True)
class UncertaintySources:
    """Standard uncertainties of the inputs.

    Attributes:
        force_covariance_n2: Shape (3, 3), of one filtered sample of the force in B.
        mass_kg: Of the shell.
        inclination_rad: About each horizontal axis.
        heading_rad: About the vertical, right at a home rest.
        heading_drift_rad_s: Growth with the time from a home rest.
        mounting_rad: Cell against IMU, about each axis.
        weight_n: Shape (3,), the shell's weight in B, downward.
    """

    force_covariance_n2: Floats
    mass_kg: float
    inclination_rad: float
    heading_rad: float
    heading_drift_rad_s: float
    mounting_rad: float
    weight_n: Floats

    @property
    def up(self) -> Floats:
        """Unit vector against the weight, shape (3,); Y if there is none."""
        weight = float(np.linalg.norm(self.weight_n))
        return -self.weight_n / weight if weight else np.array([0.0, 1.0, 0.0])


@dataclass(frozen=True, slots=True)
class DirectionUncertainty:
    """Standard uncertainties of one sample's direction; shapes (n,), radians.

    Attributes:
        azimuth_rad: Of the azimuth; grows without limit toward straight up or down.
        superior_angle_rad: Of the superior angle.
        off_axis_rad: Along the line from the target.
        worst_rad: Along the tangent, horizontal or upright, in which it is larger.
    """

    azimuth_rad: Floats
    superior_angle_rad: Floats
    off_axis_rad: Floats
    worst_rad: Floats


def sources_of(
    rig: RigDescription, *, noise_n: float, zero_n: float, heading_drift_rad_s: float
) -> UncertaintySources:
    """Gather the inputs: what a rig description states and what a recording shows.

    Args:
        rig: States calibration, mass, mounting, orientation.
        noise_n: SD of one component of the filtered force, measured while nobody touches.
        zero_n: One component of the zero: scatter between untouched windows.
        heading_drift_rad_s: Growth of the heading's uncertainty.
    """
    stated = rig.uncertainty
    geometry = right_shoulder_geometry(rig)
    # One size for all axes: the arm turns the cell's axes through B.
    variance = noise_n**2 + zero_n**2 + rig.cell.force_u_n**2
    return UncertaintySources(
        force_covariance_n2=variance * np.eye(3),
        mass_kg=stated.mass_kg,
        inclination_rad=float(np.deg2rad(stated.inclination_deg)),
        heading_rad=float(np.deg2rad(stated.heading_deg)),
        heading_drift_rad_s=heading_drift_rad_s,
        mounting_rad=float(np.deg2rad(stated.mounting_deg)),
        weight_n=-geometry.mass_kg * STANDARD_GRAVITY_M_S2 * geometry.vertical_in_base,
    )


def direction_uncertainty(
    force_n: Floats, target: Floats, heading_age_s: Floats, sources: UncertaintySources
) -> DirectionUncertainty:
    """Return the uncertainty of azimuth, superior angle and off-axis angle.

    Args:
        force_n: Shape (n, 3), the hand's push in B. NaN gives NaN.
        target: Shape (3,), unit vector, or one for each push (n, 3).
        heading_age_s: Shape (n,), time from the nearest rest at home; infinite if there is none.
        sources: The inputs.
    """
    size = np.linalg.norm(force_n, axis=1)
    level_size = np.hypot(force_n[:, 0], force_n[:, 2])
    with np.errstate(divide="ignore", invalid="ignore"):
        heading = np.hypot(sources.heading_rad, sources.heading_drift_rad_s * heading_age_s)
        unit = force_n / size[:, np.newaxis]
        lateral = np.stack([force_n[:, 2], np.zeros_like(size), -force_n[:, 0]], axis=1)
        lateral /= level_size[:, np.newaxis]
        upward = cross(unit, lateral)
        away = _away_from(unit, target, upward)
        push = _Push(force_n, unit, size, heading)
        sideways, upright = push.along(lateral, sources), push.along(upward, sources)
        return DirectionUncertainty(
            azimuth_rad=sideways * size / level_size,
            superior_angle_rad=upright,
            off_axis_rad=push.along(away, sources),
            worst_rad=np.fmax(sideways, upright),
        )


@dataclass(frozen=True, slots=True)
class _Push:
    """A push: force (n, 3), its direction (n, 3) and size (n,), and u of its heading (n,)."""

    force_n: Floats
    unit: Floats
    size_n: Floats
    heading_rad: Floats

    def along(self, tangent: Floats, sources: UncertaintySources) -> Floats:
        """Return the standard uncertainty along unit tangents (n, 3), shape (n,), radians."""
        # Turning about the vertical moves the push by up × F; 1 − that² is what is left of the
        # unit lever for the horizontal axes.
        about_vertical2 = dot(cross(sources.up, self.unit), tangent) ** 2
        turning = sources.inclination_rad**2 * (1.0 - about_vertical2)
        # An unknown heading leaves alone what does not turn with it.
        turns = about_vertical2 > 1e-12
        turning += np.where(turns, self.heading_rad**2 * about_vertical2, 0.0)
        measured = self.force_n + sources.weight_n
        measured2 = dot(measured, measured) - dot(measured, tangent) ** 2
        across2 = dot(tangent @ sources.force_covariance_n2, tangent)
        mass2 = (sources.mass_kg * STANDARD_GRAVITY_M_S2 * (tangent @ sources.up)) ** 2
        by_force = across2 + mass2 + sources.mounting_rad**2 * measured2
        return np.asarray(np.sqrt(by_force / self.size_n**2 + turning))


def _away_from(unit: Floats, target: Floats, fallback: Floats) -> Floats:
    """Return the unit tangents that lead away from the target; *fallback* when right on it."""
    cosine = dot(unit, target)
    tangent = cosine[:, np.newaxis] * unit - target
    length = np.linalg.norm(tangent, axis=1)
    on_it = ~(length > ON_TARGET_RAD)
    tangent[on_it] = fallback[on_it]
    length[on_it] = 1.0
    return np.asarray(tangent / length[:, np.newaxis])
