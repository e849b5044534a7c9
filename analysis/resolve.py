"""The direction of a push against the target. Vector forms throughout: no arccos near 1."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.orientation import angle_between
from analysis.runs import with_hysteresis
from analysis.settings import AnalysisSettings
from analysis.target import Target
from analysis.uncertainty import DirectionUncertainty

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
    """Resolve pushes (n, 3) in B against a unit vector (3,) in B."""
    back, up, out = -force_n[:, 0], force_n[:, 1], force_n[:, 2]
    return PushAngles(
        glide_n=force_n @ target,
        azimuth_rad=np.asarray(np.arctan2(out, back)),
        superior_angle_rad=np.asarray(np.arctan2(up, np.hypot(back, out))),
        off_axis_rad=angle_between(force_n, target),
    )


def target_map(force_n: Floats, target: Floats) -> Floats:
    """Return where pushes fall on the map seen along the target, shape (n, 2), radians.

    Azimuthal equidistant about the target: (toward lateral, toward superior); the distance
    from the centre is the off-axis angle.

    Args:
        force_n: Shape (n, 3) in B.
        target: Unit vector (3,) in B, not straight up or down.
    """
    lateral = np.cross([0.0, 1.0, 0.0], target)
    lateral /= np.linalg.norm(lateral)
    superior = np.cross(target, lateral)
    across = np.stack([force_n @ lateral, force_n @ superior], axis=1)
    size = np.linalg.norm(across, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        scaled = across / size[:, np.newaxis] * angle_between(force_n, target)[:, np.newaxis]
    scaled[size == 0.0] = 0.0
    return np.asarray(scaled)


def resolved_flags(
    force_n: Floats,
    angles: PushAngles,
    u: DirectionUncertainty,
    target: Target,
    settings: AnalysisSettings,
    *,
    contact_before: bool = False,
) -> tuple[Flags, Flags]:
    """Tell where the hand is on, and where its push has a direction, each shape (n,).

    Contact has two thresholds; an unknown force leaves it as it was. A direction is one if the
    hand is on, the force is known, and neither angle is less certain than the target allows.

    Args:
        force_n: Shape (n, 3), NaN where not known.
        angles: Of these forces.
        u: Their uncertainty.
        target: Says how certain a direction must be.
        settings: The thresholds of contact.
        contact_before: Whether the hand was on before the first sample.
    """
    on = with_hysteresis(
        np.linalg.norm(force_n, axis=1),
        on=settings.contact_on_n,
        off=settings.contact_off_n,
        before=contact_before,
    )
    worst = np.fmax(u.azimuth_rad * np.cos(angles.superior_angle_rad), u.superior_angle_rad)
    certain = worst <= np.deg2rad(target.direction_u_limit_deg)
    return on, np.asarray(on & certain & np.isfinite(force_n).all(axis=1))
