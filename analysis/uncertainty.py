"""Standard uncertainty of a direction, to first order, from what is known now.

For the hand's push F, a unit tangent ê at its direction and W the shell's weight:

    u² = êᵀ Σ_F ê / F²  +  c Σ_δ c  +  u_δ² ‖(F + W) × ê‖² / F²  +  (u_m g)² (ê·ŷ)² / F²

Σ_F is the covariance of the force (noise, zero and how far it moved, calibration). c = F × ê / F
is what a small rotation about each axis moves along ê: inclination about the horizontal axes,
what the rests at home show of it included, and heading about the vertical, growing with the time
from such a rest. A mounting error u_δ between cell and IMU turns what the cell measures, push and
weight together, against the weight that is taken off. The last term is the shell's mass. Azimuth
moves with the heading one to one, the superior angle not at all. Systematic parts do not shrink
with averaging.

GUM (JCGM 100:2008) clause 5.1.2, uncorrelated inputs. A full budget by Monte Carlo belongs here
too when it comes; nothing outside this module knows the parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import right_shoulder_geometry
from acquisition.rig import STANDARD_GRAVITY_M_S2, RigDescription
from analysis.vectors import cross, dot, lengths

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


@dataclass(frozen=True, slots=True)
class Shown:
    """What a recording shows of its own errors.

    Attributes:
        noise_n: SD of one component of the filtered force, measured while nobody touches.
        zero_scatter_n: One component of the zero: SD between untouched windows.
        zero_apart_n: Largest force that quiet rests at home show against the zero.
        home_tilt_rad: How far from the described vertical the one seen at home lies.
        home_scatter_rad: Root mean square angle of the rests at home from the vertical that holds.
    """

    noise_n: float
    zero_scatter_n: float = 0.0
    zero_apart_n: float = 0.0
    home_tilt_rad: float = 0.0
    home_scatter_rad: float = 0.0

    @property
    def zero_n(self) -> float:
        """Standard uncertainty of one component of the zero.

        A zero that moved by so much was anywhere between: a rectangle of that half-width (GUM
        4.3.7) along whichever axis.
        """
        return float(np.hypot(self.zero_scatter_n, self.zero_apart_n / np.sqrt(3.0)))

    @property
    def inclination_rad(self) -> float:
        """Standard uncertainty about one horizontal axis, of what the rests at home show."""
        # Both are angles from the vertical, which two axes share.
        return float(np.hypot(self.home_tilt_rad, self.home_scatter_rad) / np.sqrt(2.0))


def sources_of(
    rig: RigDescription, shown: Shown, *, heading_drift_rad_s: float
) -> UncertaintySources:
    """Gather the inputs: what a rig description states and what a recording shows.

    Args:
        rig: States calibration, mass, mounting, orientation.
        shown: By the recording itself.
        heading_drift_rad_s: Growth of the heading's uncertainty.
    """
    stated = rig.uncertainty
    geometry = right_shoulder_geometry(rig)
    # One size for all axes: the arm turns the cell's axes through B.
    variance = shown.noise_n**2 + shown.zero_n**2 + rig.cell.force_u_n**2
    return UncertaintySources(
        force_covariance_n2=variance * np.eye(3),
        mass_kg=stated.mass_kg,
        inclination_rad=float(np.hypot(np.deg2rad(stated.inclination_deg), shown.inclination_rad)),
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
    size = lengths(force_n)
    level_size = np.sqrt(force_n[:, 0] ** 2 + force_n[:, 2] ** 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = (force_n.T / size).T
        lateral = np.array([unit[:, 2], np.zeros_like(size), -unit[:, 0]])
        lateral = (lateral * (size / level_size)).T
        upward = cross(unit, lateral)
        away = _away_from(unit, target, upward)
        push = _Push.of(force_n, unit, size, heading_age_s, sources)
        sideways, upright = push.along(lateral), push.along(upward)
        return DirectionUncertainty(
            azimuth_rad=sideways * size / level_size,
            superior_angle_rad=upright,
            off_axis_rad=push.along(away),
            worst_rad=np.fmax(sideways, upright),
        )


@dataclass(frozen=True, slots=True)
class _Push:
    """A push, with what is the same along all its tangents.

    Attributes:
        sources: The inputs.
        size2_n2: Shape (n,), squared size.
        heading2_rad2: Shape (n,), squared u of its heading.
        about_vertical: Shape (n, 3), what turning about the vertical moves its direction by.
        measured_n: Shape (n, 3), push and weight together.
        measured2_n2: Shape (n,), squared size of that.
    """

    sources: UncertaintySources
    size2_n2: Floats
    heading2_rad2: Floats
    about_vertical: Floats
    measured_n: Floats
    measured2_n2: Floats

    @classmethod
    def of(
        cls,
        force_n: Floats,
        unit: Floats,
        size_n: Floats,
        heading_age_s: Floats,
        sources: UncertaintySources,
    ) -> _Push:
        measured = force_n + sources.weight_n
        drifted = sources.heading_drift_rad_s * heading_age_s
        return cls(
            sources=sources,
            size2_n2=size_n**2,
            heading2_rad2=sources.heading_rad**2 + drifted**2,
            about_vertical=cross(sources.up, unit),
            measured_n=measured,
            measured2_n2=dot(measured, measured),
        )

    def along(self, tangent: Floats) -> Floats:
        """Return the standard uncertainty along unit tangents (n, 3), shape (n,), radians."""
        # Turning about the vertical moves the push by up × F; 1 − that² is what is left of the
        # unit lever for the horizontal axes.
        sources = self.sources
        about_vertical2 = dot(self.about_vertical, tangent) ** 2
        turning = sources.inclination_rad**2 * (1.0 - about_vertical2)
        # An unknown heading leaves alone what does not turn with it.
        turns = about_vertical2 > 1e-12
        turning += np.where(turns, self.heading2_rad2 * about_vertical2, 0.0)
        measured2 = self.measured2_n2 - dot(self.measured_n, tangent) ** 2
        across2 = dot(_times(sources.force_covariance_n2, tangent), tangent)
        mass2 = (sources.mass_kg * STANDARD_GRAVITY_M_S2 * dot(tangent, sources.up)) ** 2
        by_force = across2 + mass2 + sources.mounting_rad**2 * measured2
        return np.asarray(np.sqrt(by_force / self.size2_n2 + turning))


def _times(matrix: Floats, vectors: Floats) -> Floats:
    """Return matrix · v for each v of (n, 3); not by the linear algebra: that wakes its threads."""
    return np.array([dot(vectors, row) for row in matrix]).T


def _away_from(unit: Floats, target: Floats, fallback: Floats) -> Floats:
    """Return the unit tangents that lead away from the target; *fallback* when right on it."""
    cosine = dot(unit, target)
    tangent = (cosine * unit.T).T - target
    length = lengths(tangent)
    on_it = ~(length > ON_TARGET_RAD)
    tangent[on_it] = fallback[on_it]
    length[on_it] = 1.0
    return (tangent.T / length).T
