"""The direction of a push against the target. Vector forms throughout: no arccos near 1."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import Geometry
from analysis.contact import head_contact_points
from analysis.pose import (
    distal_axis,
    elevation,
    elevation_speed,
    plane_of_elevation,
)
from analysis.runs import parts_of, run_lengths, with_hysteresis
from analysis.series import ResolvedSeries, Smoothing, gathered
from analysis.settings import AnalysisSettings
from analysis.target import Aim, Target
from analysis.turns import Turns
from analysis.uncertainty import UncertaintySources, direction_uncertainty
from analysis.vectors import all_finite, angle_between, cross, dot

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PushAngles:
    """Where pushes go; shapes (n,), radians and newtons, NaN where the force is not known."""

    glide_n: Floats
    azimuth_rad: Floats
    superior_angle_rad: Floats
    off_axis_rad: Floats


def push_angles(force_n: Floats, target: Floats) -> PushAngles:
    """Resolve pushes (n, 3) in B against a unit vector (3,), or one for each (n, 3), in B."""
    back, up, out = -force_n[:, 0], force_n[:, 1], force_n[:, 2]
    return PushAngles(
        glide_n=dot(force_n, target),
        azimuth_rad=np.asarray(np.arctan2(out, back)),
        superior_angle_rad=np.asarray(np.arctan2(up, np.sqrt(back**2 + out**2))),
        off_axis_rad=angle_between(force_n, target),
    )


def target_map(force_n: Floats, target: Floats) -> Floats:
    """Return where pushes fall on the map seen along the target, shape (n, 2), radians.

    Azimuthal equidistant about the target: (toward lateral, toward superior); the distance
    from the centre is the off-axis angle.

    Args:
        force_n: Shape (n, 3) in B.
        target: Vector (3,) of any length, or one for each push (n, 3), in B, not straight up or
            down.
    """
    lateral = cross(np.array([0.0, 1.0, 0.0]), target)
    lateral /= np.linalg.norm(lateral, axis=-1, keepdims=True)
    superior = cross(target, lateral)
    superior /= np.linalg.norm(superior, axis=-1, keepdims=True)
    across = np.stack([dot(force_n, lateral), dot(force_n, superior)], axis=1)
    size = np.linalg.norm(across, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        scaled = across / size[:, np.newaxis] * angle_between(force_n, target)[:, np.newaxis]
    scaled[size == 0.0] = 0.0
    return np.asarray(scaled)


@dataclass(frozen=True, slots=True)
class ContactState:
    """What is remembered of contact between blocks.

    Attributes:
        on: The hand was on.
        unknown: For how many samples the push has not been known.
    """

    on: bool = False
    unknown: int = 0


def contact(
    magnitude_n: Floats, fs_hz: float, settings: AnalysisSettings, before: ContactState
) -> tuple[Flags, ContactState]:
    """Tell where the hand is on, causally: shape (n,), and what to remember for the next block.

    Two thresholds; reaching the upper one is on, falling below the lower one is off. A push
    unknown for longer than the settings' contact gap is no contact.

    Args:
        magnitude_n: Shape (n,); NaN where not known.
        fs_hz: Its rate.
        settings: The thresholds.
        before: What the block before gave.
    """
    on = np.empty(len(magnitude_n), dtype=np.bool_)
    for part in parts_of(len(on)):
        on[part], before = _contact(magnitude_n[part], fs_hz, settings, before)
    return on, before


def _contact(
    magnitude_n: Floats, fs_hz: float, settings: AnalysisSettings, before: ContactState
) -> tuple[Flags, ContactState]:
    gap = int(settings.contact_gap_s * fs_hz)
    unknown = np.isnan(magnitude_n)
    lasted = run_lengths(unknown, before.unknown)
    seen = np.where(lasted > gap, 0.0, magnitude_n)
    on = with_hysteresis(
        seen, on=settings.contact_on_n, off=settings.contact_off_n, before=before.on
    )
    return on, ContactState(on=bool(on[-1]), unknown=int(lasted[-1]))


@dataclass(frozen=True, slots=True)
class Unresolved:
    """What is known of n moments before they are resolved against a target.

    Attributes:
        time_s: Shape (n,).
        wrench: Shape (n, 3 or 6), the hand's, in H, filtered, zero off; NaN where unknown.
        humerus_to_base: Shape (n, 4), rotations as quaternions, scalar last.
        pose_known: Shape (n,), the rotations mean something, save perhaps their heading.
        heading_age_s: Shape (n,), infinite where the heading is unknown.
        angular_rate_rad_s: Shape (n, 3), in H, filtered; NaN where unknown.
        missing: Shape (n,).
        saturated: Shape (n,).
        contact: Shape (n,).
    """

    time_s: Floats
    wrench: Floats
    humerus_to_base: Floats
    pose_known: Flags
    heading_age_s: Floats
    angular_rate_rad_s: Floats
    missing: Flags
    saturated: Flags
    contact: Flags

    def rows(self, part: slice) -> Unresolved:
        """Return a part of it."""
        return Unresolved(*(getattr(self, field.name)[part] for field in fields(self)))


def resolve(
    found: Unresolved,
    *,
    fs_hz: float,
    target: Target,
    geometry: Geometry,
    sources: UncertaintySources,
    settings: AnalysisSettings,
    passes: int,
    aim: Aim | None = None,
    in_place: bool = False,
) -> ResolvedSeries:
    """Resolve pushes against a target; the same for live and offline.

    Where the heading is unknown, the horizontal components and what rests on them are NaN; the
    upward component, the superior angle and the elevation do not need it. A push has a direction
    if the hand is on, the force is known, and neither across nor upward it is less certain than
    the target allows. A target that moves is followed by *aim*, which a caller who resolves block
    by block must keep; None begins a new one. *passes* says how often the low-pass ran: 2 offline,
    1 live. *in_place* lets the series lie where *found* does, which is spent then.
    """
    count = len(found.time_s)
    aim = aim or Aim(target)
    parts = (
        _resolve(found.rows(part), fs_hz, target, aim, geometry, sources, settings)
        for part in parts_of(count)
    )
    smoothing = Smoothing(settings.cutoff_hz, settings.filter_order, passes)
    return replace(
        gathered(parts, count, _same_places(found) if in_place else None), smoothing=smoothing
    )


def _same_places(found: Unresolved) -> dict[str, Floats | Flags]:
    """Return where the series may lie, by field: each part of it is made before it is put there."""
    return {
        "time_s": found.time_s,
        "force_n": found.wrench[:, :3],
        "contact_point_m": found.wrench[:, 3:],
        "missing": found.missing,
        "saturated": found.saturated,
        "contact": found.contact,
        "heading_age_s": found.heading_age_s,
        "humerus_to_base": found.humerus_to_base,
    }


def _resolve(
    found: Unresolved,
    fs_hz: float,
    target: Target,
    aim: Aim,
    geometry: Geometry,
    sources: UncertaintySources,
    settings: AnalysisSettings,
) -> ResolvedSeries:
    rotation = Turns(found.humerus_to_base)
    force = rotation.apply(found.wrench[:, :3])
    force[~found.pose_known] = np.nan
    distal = distal_axis(rotation)
    raised = np.where(found.pose_known, elevation(distal), np.nan)
    moving = aim(raised)
    toward = target.direction if moving is None else moving
    u = direction_uncertainty(force, toward, found.heading_age_s, sources, rotation)
    angles = push_angles(force, toward)
    certain = u.worst_rad <= np.deg2rad(target.direction_u_limit_deg)
    faces_unknown = ~np.isfinite(found.heading_age_s)
    force[faces_unknown, 0] = force[faces_unknown, 2] = np.nan
    for value in (angles.glide_n, angles.azimuth_rad, angles.off_axis_rad):
        value[faces_unknown] = np.nan
    min_raised = float(np.deg2rad(settings.plane_min_elevation_deg))
    plane = plane_of_elevation(distal, min_raised)
    plane[faces_unknown | ~found.pose_known] = np.nan
    return ResolvedSeries(
        fs_hz=fs_hz,
        time_s=found.time_s,
        force_n=force,
        glide_n=angles.glide_n,
        azimuth_rad=angles.azimuth_rad,
        superior_angle_rad=angles.superior_angle_rad,
        off_axis_rad=angles.off_axis_rad,
        azimuth_u_rad=u.azimuth_rad,
        superior_angle_u_rad=u.superior_angle_rad,
        off_axis_u_rad=u.off_axis_rad,
        elevation_rad=raised,
        plane_rad=plane,
        elevation_speed_rad_s=elevation_speed(rotation, distal, found.angular_rate_rad_s),
        missing=found.missing,
        saturated=found.saturated,
        contact=found.contact,
        directed=found.contact & certain & all_finite(force),
        contact_point_m=_contact_in_base(found, rotation, geometry),
        target_direction=moving,
        heading_age_s=found.heading_age_s,
        humerus_to_base=None if sources.cell_covariance_n2 is None else found.humerus_to_base,
        sources=sources,
    )


def _contact_in_base(found: Unresolved, rotation: Turns, geometry: Geometry) -> Floats | None:
    # In B, because the head rolls under a hand that stays: in H every raise would be a slip.
    points = head_contact_points(found.wrench, geometry)
    if points is None:
        return None
    turned = rotation.apply(points)
    turned[~(found.pose_known & np.isfinite(found.heading_age_s))] = np.nan
    return turned
