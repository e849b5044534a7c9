"""Standard uncertainty of direction, force and pose, to first order, from what is known now.

For the hand's push F, a unit tangent ê at its direction and W the shell's weight:

    u² = êᵀ Σ_F ê / F²  +  c Σ_δ c  +  u_δ² ‖(F + W) × ê‖² / F²  +  (u_m g)² (ê·ŷ)² / F²

Σ_F is the covariance of the force: noise, zero and how far it moved, calibration. The last is one
number for all components, or the covariance that the rig's file states, turned with the arm, and
besides it a share r of the force: coefficients that are off by r each and independently give
r²‖F + W‖² along every direction. c = F × ê / F is what a small rotation about each axis moves
along ê: inclination about the horizontal axes, what the rests at home show of it included, and
heading about the vertical, growing with the time from such a rest. A mounting error u_δ between
cell and IMU turns what the cell measures, push and weight together, against the weight that is
taken off. The last term is the shell's mass. Azimuth moves with the heading one to one, the
superior angle not at all. Systematic parts do not shrink with averaging.

GUM (JCGM 100:2008) clause 5.1.2, uncorrelated inputs. A full budget by Monte Carlo belongs here
too when it comes; nothing outside this module knows the parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import mirror_if_left, right_shoulder_geometry
from acquisition.rig import STANDARD_GRAVITY_M_S2, RigDescription
from analysis.turns import Turns
from analysis.vectors import cross, dot, lengths

Floats = NDArray[np.float64]

UPWARD = np.array([0.0, 1.0, 0.0])
ON_TARGET_RAD = 1e-6
"""So near to the target there is no direction away from it."""


@dataclass(frozen=True, slots=True)
class UncertaintySources:
    """Standard uncertainties of the inputs.

    Attributes:
        force_variance_n2: Of each component of one filtered sample of the force, all axes alike.
        cell_covariance_n2: Shape (3, 3), of the force by calibration, in H, where the rig's file
            has one; it turns with the arm.
        force_share: Of each coefficient of the calibration, as a share of the force.
        mass_kg: Of the shell.
        inclination_rad: About each horizontal axis.
        heading_rad: About the vertical, right at a home rest.
        heading_drift_rad_s: Growth with the time from a home rest.
        mounting_rad: Cell against IMU, about each axis.
        weight_n: Shape (3,), the shell's weight in B, downward.
    """

    force_variance_n2: float
    cell_covariance_n2: Floats | None
    force_share: float
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
class ForceUncertainty:
    """Standard uncertainties of one sample's force; shapes (n,), newtons.

    Attributes:
        magnitude_n: Of its magnitude.
        glide_n: Of its component along the target.
        superior_n: Of its upward component.
    """

    magnitude_n: Floats
    glide_n: Floats
    superior_n: Floats


@dataclass(frozen=True, slots=True)
class PoseUncertainty:
    """Standard uncertainties of one sample's pose; shapes (n,), radians.

    Attributes:
        elevation_rad: Of the elevation; near 0, which no angle passes, it is too large.
        plane_rad: Of the plane of elevation; grows without limit toward hanging and upright.
    """

    elevation_rad: Floats
    plane_rad: Floats


@dataclass(frozen=True, slots=True)
class Shown:
    """What a recording shows of its own errors.

    Attributes:
        noise_n: SD of one component of the filtered force, measured while nobody touches.
        zero_scatter_n: One component of the zero: SD between untouched windows.
        zero_moved_n: Largest force, too small for a hand, that quiet rests at home show against
            the zero.
        home_tilt_rad: How far from the described vertical the one seen at home lies.
        home_scatter_rad: Root mean square angle of the rests at home from the vertical that holds.
    """

    noise_n: float
    zero_scatter_n: float = 0.0
    zero_moved_n: float = 0.0
    home_tilt_rad: float = 0.0
    home_scatter_rad: float = 0.0

    @property
    def zero_n(self) -> float:
        """Standard uncertainty of one component of the zero.

        A zero that moved by so much was anywhere between: a rectangle of that half-width (GUM
        4.3.7) along whichever axis.
        """
        return float(np.hypot(self.zero_scatter_n, self.zero_moved_n / np.sqrt(3.0)))

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
    cell = rig.cell
    calibrated = 0.0 if cell.force_covariance_n2 is not None else cell.force_u_n**2
    return UncertaintySources(
        # One size for all axes: the arm turns the cell's axes through B.
        force_variance_n2=shown.noise_n**2 + shown.zero_n**2 + calibrated,
        cell_covariance_n2=_calibration_covariance(rig),
        force_share=cell.force_relative_u,
        mass_kg=stated.mass_kg,
        inclination_rad=float(np.hypot(np.deg2rad(stated.inclination_deg), shown.inclination_rad)),
        heading_rad=float(np.deg2rad(stated.heading_deg)),
        heading_drift_rad_s=heading_drift_rad_s,
        mounting_rad=float(np.deg2rad(stated.mounting_deg)),
        weight_n=-geometry.mass_kg * STANDARD_GRAVITY_M_S2 * geometry.vertical_in_base,
    )


def _calibration_covariance(rig: RigDescription) -> Floats | None:
    """Return the covariance that the rig's file states, in H of a right shoulder, (3, 3)."""
    if rig.cell.force_covariance_n2 is None:
        return None
    to_humerus = mirror_if_left(np.array(rig.cell.to_humerus).T, rig.rig.side).T
    return np.asarray(to_humerus @ np.array(rig.cell.force_covariance_n2) @ to_humerus.T)


def direction_uncertainty(
    force_n: Floats,
    target: Floats,
    heading_age_s: Floats,
    sources: UncertaintySources,
    humerus_to_base: Turns | None = None,
) -> DirectionUncertainty:
    """Return the uncertainty of azimuth, superior angle and off-axis angle.

    Args:
        force_n: Shape (n, 3), the hand's push in B. NaN gives NaN.
        target: Shape (3,), unit vector, or one for each push (n, 3).
        heading_age_s: Shape (n,), time from the nearest rest at home; infinite if there is none.
        sources: The inputs.
        humerus_to_base: The pose of each push; asked for if the sources have a covariance of the
            cell.
    """
    size = lengths(force_n)
    level_size = np.sqrt(force_n[:, 0] ** 2 + force_n[:, 2] ** 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = (force_n.T / size).T
        lateral = np.array([unit[:, 2], np.zeros_like(size), -unit[:, 0]])
        lateral = (lateral * (size / level_size)).T
        upward = cross(unit, lateral)
        away = _away_from(unit, target, upward)
        push = _Push.of(force_n, size, heading_age_s, sources, humerus_to_base)
        sideways, upright = (push.across(tangent) / size for tangent in (lateral, upward))
        return DirectionUncertainty(
            azimuth_rad=sideways * size / level_size,
            superior_angle_rad=upright,
            off_axis_rad=push.across(away) / size,
            worst_rad=np.fmax(sideways, upright),
        )


def force_uncertainty(
    force_n: Floats,
    target: Floats,
    heading_age_s: Floats,
    sources: UncertaintySources,
    humerus_to_base: Turns | None = None,
) -> ForceUncertainty:
    """Return the uncertainty of magnitude, glide and superior force; arguments likewise.

    The magnitude does not change with the pose; a component does by what the turn moves of it.
    """
    size = lengths(force_n)
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = (force_n.T / size).T
    push = _Push.of(force_n, size, heading_age_s, sources, humerus_to_base)
    return ForceUncertainty(
        magnitude_n=push.along(unit),
        glide_n=push.along(np.broadcast_to(target, force_n.shape)),
        superior_n=push.along(np.broadcast_to(UPWARD, force_n.shape)),
    )


def pose_uncertainty(
    elevation_rad: Floats, plane_rad: Floats, heading_age_s: Floats, sources: UncertaintySources
) -> PoseUncertainty:
    """Return the uncertainty of elevation and plane of elevation.

    A small rotation about an axis moves the shaft d by axis × d. What of it raises is along the
    normal of the plane that the arm moves in: inclination alone on a level base. The plane turns
    with the heading one to one, and with the inclination by the cotangent of the elevation.

    Args:
        elevation_rad: Shape (n,).
        plane_rad: Shape (n,), NaN where there is none: there the base counts as level.
        heading_age_s: Shape (n,), time from the nearest rest at home; infinite if there is none.
        sources: The inputs.
    """
    heading2 = sources.heading_rad**2 + (sources.heading_drift_rad_s * heading_age_s) ** 2
    inclination2, up = sources.inclination_rad**2, sources.up
    normal_up = np.nan_to_num(up[0] * np.cos(plane_rad) - up[2] * np.sin(plane_rad))
    raised = inclination2 * (1.0 - normal_up**2) + _if_any(heading2, normal_up**2)
    with np.errstate(divide="ignore", invalid="ignore"):  # hanging, the arm has no plane
        flat = 1.0 / np.tan(elevation_rad)
        lever_up = up[1] + flat * (up[0] * np.sin(plane_rad) + up[2] * np.cos(plane_rad))
        turned = inclination2 * (1.0 + flat**2 - lever_up**2) + _if_any(heading2, lever_up**2)
        return PoseUncertainty(
            elevation_rad=np.where(np.isfinite(elevation_rad), np.sqrt(raised), np.nan),
            plane_rad=np.sqrt(turned),
        )


def _if_any(heading2_rad2: Floats, lever2: Floats) -> Floats:
    """Return heading² · lever²; an unknown heading leaves alone what does not turn with it."""
    known = np.where(lever2 > 1e-12, heading2_rad2, 0.0)
    return np.asarray(known * lever2)


@dataclass(frozen=True, slots=True)
class _Push:
    """A push, with what is the same along all directions.

    Attributes:
        sources: The inputs.
        force_n: Shape (n, 3).
        size2_n2: Shape (n,), squared size.
        heading2_rad2: Shape (n,), squared u of its heading.
        about_vertical_n: Shape (n, 3), what turning about the vertical moves it by.
        measured_n: Shape (n, 3), push and weight together.
        measured2_n2: Shape (n,), squared size of that.
        alike_n2: Shape (n,) or one for all, the part that is alike along all directions.
        humerus_to_base: Its pose.
    """

    sources: UncertaintySources
    force_n: Floats
    size2_n2: Floats
    heading2_rad2: Floats
    about_vertical_n: Floats
    measured_n: Floats
    measured2_n2: Floats
    alike_n2: Floats | float
    humerus_to_base: Turns | None

    @classmethod
    def of(
        cls,
        force_n: Floats,
        size_n: Floats,
        heading_age_s: Floats,
        sources: UncertaintySources,
        humerus_to_base: Turns | None,
    ) -> _Push:
        measured = force_n + sources.weight_n
        measured2 = dot(measured, measured)
        drifted = sources.heading_drift_rad_s * heading_age_s
        # Each coefficient off by a share of its own moves every component by as much.
        share2 = sources.force_share**2
        return cls(
            sources=sources,
            force_n=force_n,
            size2_n2=size_n**2,
            heading2_rad2=sources.heading_rad**2 + drifted**2,
            about_vertical_n=cross(sources.up, force_n),
            measured_n=measured,
            measured2_n2=measured2,
            alike_n2=sources.force_variance_n2 + (share2 * measured2 if share2 else 0.0),
            humerus_to_base=humerus_to_base,
        )

    def across(self, tangent: Floats) -> Floats:
        """Return the standard uncertainty across the push, along unit tangents (n, 3), newtons."""
        return self._along(tangent, self.size2_n2)

    def along(self, direction: Floats) -> Floats:
        """Return that of the component along unit directions (n, 3), newtons."""
        across2 = self.size2_n2 - dot(self.force_n, direction) ** 2
        return self._along(direction, np.maximum(across2, 0.0))

    def _along(self, direction: Floats, lever2_n2: Floats) -> Floats:
        """Return the standard uncertainty along unit directions, newtons.

        Args:
            direction: Shape (n, 3) or (3,).
            lever2_n2: Shape (n,), squared size of the push across them: what a turn moves.
        """
        sources = self.sources
        about_vertical2 = dot(self.about_vertical_n, direction) ** 2
        turning = sources.inclination_rad**2 * (lever2_n2 - about_vertical2)
        # An unknown heading leaves alone what does not turn with it.
        turns = about_vertical2 > 1e-12 * self.size2_n2
        turning += np.where(turns, self.heading2_rad2, 0.0) * about_vertical2
        mass2 = (sources.mass_kg * STANDARD_GRAVITY_M_S2 * dot(direction, sources.up)) ** 2
        measured2 = self.measured2_n2 - dot(self.measured_n, direction) ** 2
        mounted = sources.mounting_rad**2 * measured2
        known = self.alike_n2 + self._calibrated2(direction)
        return np.asarray(np.sqrt(known + mass2 + mounted + turning))

    def _calibrated2(self, direction: Floats) -> Floats | float:
        covariance = self.sources.cell_covariance_n2
        if covariance is None:
            return 0.0
        if self.humerus_to_base is None:
            raise ValueError("the covariance of a cell turns with the arm: give its pose")
        inside = self.humerus_to_base.undo(direction)
        return dot(_times(covariance, inside), inside)


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
