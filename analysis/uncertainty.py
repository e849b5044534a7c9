"""Standard uncertainty of a direction, to first order, from what is known now.

For a force F = R·C·(n − n0) + m·f − b the direction F/|F| is uncertain through the force
across it, σ_t/|F|, and through rotations: heading about the vertical, inclination about the
horizontal axes, mounting about all. A mounting error also turns the shell's weight against the
force, which matters at light touch. Systematic parts do not shrink with averaging.

GUM (JCGM 100:2008) clause 5.1.2, uncorrelated inputs. A full budget by Monte Carlo belongs
here too when it comes; nothing outside this module knows the parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.rig import STANDARD_GRAVITY_M_S2, RigDescription

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class UncertaintySources:
    """Standard uncertainties of the inputs.

    Attributes:
        noise_n: One component of the filtered force, measured while nobody touches.
        zero_n: One component of the zero: scatter between untouched windows.
        calibration_n: One component, from the certificate.
        mass_kg: Shell mass.
        inclination_rad: About each horizontal axis.
        heading_rad: About the vertical, right at a home rest.
        heading_drift_rad_s: Growth with the time from a home rest.
        mounting_rad: Cell and IMU on the humerus, about each axis.
        weight_n: The shell's weight.
    """

    noise_n: float
    zero_n: float
    calibration_n: float
    mass_kg: float
    inclination_rad: float
    heading_rad: float
    heading_drift_rad_s: float
    mounting_rad: float
    weight_n: float

    @property
    def across_n(self) -> float:
        """One component of the force, all parts together, newtons."""
        return float(np.sqrt(self.noise_n**2 + self.zero_n**2 + self.calibration_n**2))


@dataclass(frozen=True, slots=True)
class DirectionUncertainty:
    """Standard uncertainties of one sample's direction; shapes (n,), radians."""

    azimuth_rad: Floats
    superior_angle_rad: Floats
    off_axis_rad: Floats


def sources_of(
    rig: RigDescription, *, noise_n: float, zero_n: float, heading_drift_rad_s: float
) -> UncertaintySources:
    """Gather the inputs: what a rig description states and what a recording shows."""
    stated = rig.uncertainty
    return UncertaintySources(
        noise_n=noise_n,
        zero_n=zero_n,
        calibration_n=rig.cell.force_u_n,
        mass_kg=stated.mass_kg,
        inclination_rad=float(np.deg2rad(stated.inclination_deg)),
        heading_rad=float(np.deg2rad(stated.heading_deg)),
        heading_drift_rad_s=heading_drift_rad_s,
        mounting_rad=float(np.deg2rad(stated.mounting_deg)),
        weight_n=rig.shell.mass_kg * STANDARD_GRAVITY_M_S2,
    )


def direction_uncertainty(
    force_n: Floats, target: Floats, heading_age_s: Floats, sources: UncertaintySources
) -> DirectionUncertainty:
    """Return the uncertainty of azimuth, superior angle and off-axis angle.

    Args:
        force_n: Shape (n, 3), the hand's push in B. NaN gives NaN.
        target: Shape (3,), unit vector.
        heading_age_s: Shape (n,), time from the nearest rest at home.
        sources: The inputs.
    """
    size = np.linalg.norm(force_n, axis=1)
    level_size = np.hypot(force_n[:, 0], force_n[:, 2])
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = force_n / size[:, np.newaxis]
        up = np.array([0.0, 1.0, 0.0])
        sideways = np.cross(up, unit) * (size / level_size)[:, np.newaxis]
        upward = np.cross(unit, sideways)
        away = _away_from(unit, target, upward)
        cos_superior = level_size / size
        azimuth = _along(sideways, unit, size, heading_age_s, sources) / cos_superior
        return DirectionUncertainty(
            azimuth_rad=azimuth,
            superior_angle_rad=_along(upward, unit, size, heading_age_s, sources),
            off_axis_rad=_along(away, unit, size, heading_age_s, sources),
        )


def _away_from(unit: Floats, target: Floats, fallback: Floats) -> Floats:
    """Return the unit tangents that lead away from the target; *fallback* when right on it."""
    cosine = unit @ target
    tangent = cosine[:, np.newaxis] * unit - target
    length = np.linalg.norm(tangent, axis=1)
    on_it = ~(length > 1e-6)
    tangent[on_it] = fallback[on_it]
    length[on_it] = 1.0
    return np.asarray(tangent / length[:, np.newaxis])


def _along(
    tangent: Floats, unit: Floats, size: Floats, age_s: Floats, sources: UncertaintySources
) -> Floats:
    """Return the standard uncertainty of the direction along a tangent, shape (n,), radians."""
    lever = np.cross(unit, tangent)  # what a small rotation about each axis moves along it
    heading = sources.heading_rad**2 + (sources.heading_drift_rad_s * age_s) ** 2
    inclination = sources.inclination_rad**2
    turned = inclination * (lever[:, 0] ** 2 + lever[:, 2] ** 2) + heading * lever[:, 1] ** 2
    # A mounting error turns push and weight alike; the weight's share grows as the push falls.
    mounting = sources.mounting_rad**2 * (1.0 + (sources.weight_n / size) ** 2)
    mass = (sources.mass_kg * STANDARD_GRAVITY_M_S2 * tangent[:, 1]) ** 2 / size**2
    variance = sources.across_n**2 / size**2 + turned + mounting + mass
    return np.asarray(np.sqrt(variance))
