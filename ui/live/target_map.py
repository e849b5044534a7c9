"""The target map: where the push goes, seen along the target. Degrees about the target."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from analysis.resolve import target_map
from analysis.series import joined
from analysis.target import Target
from ui.live.moment import Moment
from ui.live.push import PushState, newest_of, target_now

Floats = NDArray[np.float64]

SPAN_DEG = 30.0
"""The map reaches this far; what lies further is shown at its edge."""
TRAIL_S = 2.0
TRAIL_STEP_S = 0.1


class Stand(Enum):
    """From where the map is seen; the text is for the screen."""

    BEHIND = "seen from behind"
    FRONT = "seen from the front"


SHOULDERS = {"right": "right shoulder", "left": "left shoulder"}
"""By the side of the rig, for the screen."""


def lateral_is_right(side: str, stand: Stand) -> bool:
    """Tell whether lateral is on the right of the map.

    Facing forward behind a right shoulder it is; every change of side or place mirrors it.
    """
    return (side == "right") == (stand is Stand.BEHIND)


@dataclass(frozen=True, slots=True)
class TargetMap:
    """One look at the map; (toward lateral, toward superior), NaN where nothing is known.

    Attributes:
        state: What can be said.
        point_deg: Shape (2,), where the push goes; kept at the edge if outside.
        u_deg: Shape (2,), its standard uncertainty.
        inside: In the cone and not upward.
        beyond: The push lies outside the map.
        trail_deg: Shape (n, 2), means over `TRAIL_STEP_S`, oldest first.
        trail_age_s: Shape (n,).
        toward: Shape (3,), where the target points now: the middle of the map.
        corridor_deg: Shape (n, 2), outline of the experts' band where the arm is; n is 0 if there
            is none.
    """

    state: PushState
    point_deg: Floats
    u_deg: Floats
    inside: bool
    beyond: bool
    trail_deg: Floats
    trail_age_s: Floats
    toward: Floats
    corridor_deg: Floats


class TargetMapModel:
    """Makes the map of a moment."""

    def look(self, moment: Moment) -> TargetMap:
        """Return the map of now."""
        point = moment.push.map_deg
        size = float(np.hypot(*point))
        edge = SPAN_DEG - 1.0
        trail, age = _trail(moment)
        return TargetMap(
            state=moment.state,
            point_deg=point * (edge / size) if size > edge else point,
            u_deg=moment.push.map_u_deg,
            inside=(
                size <= moment.target.cone_deg
                and moment.push.superior_deg <= moment.target.superior_limit_deg
            ),
            beyond=size > edge,
            trail_deg=trail,
            trail_age_s=age,
            toward=target_now(newest_of(moment.recent), moment.target),
            corridor_deg=moment.corridor.outline_deg if moment.corridor else np.zeros((0, 2)),
        )


def _trail(moment: Moment) -> tuple[Floats, Floats]:
    """Return where the push went lately, and how long ago.

    The steps lie fast in time, so that points stay where they are while they grow older.
    """
    since_s = moment.recent[-1].time_s[-1] - TRAIL_S if moment.recent else 0.0
    late = joined([one for one in moment.recent if one.time_s[-1] > since_s])
    if late is None or moment.state is PushState.NO_DATA:
        return np.zeros((0, 2)), np.zeros(0)
    step, where = np.unique(np.floor(late.time_s / TRAIL_STEP_S), return_inverse=True)
    known = late.directed.astype(np.float64)
    weight = np.bincount(where, known)
    force = np.stack(
        [np.bincount(where, np.where(late.directed, axis, 0.0)) for axis in late.force_n.T],
        axis=1,
    )
    age_s = late.time_s[-1] - (step + 0.5) * TRAIL_STEP_S
    # Half a step known is enough; the rest, and steps cut off at the far end, would jump about.
    shown = (weight > 0.5 * TRAIL_STEP_S * late.fs_hz) & (age_s < TRAIL_S - 0.5 * TRAIL_STEP_S)
    toward = np.broadcast_to(moment.target.direction, force.shape)
    if late.target_direction is not None:
        moving = np.where(late.directed, late.target_direction.T, 0.0)
        toward = np.stack([np.bincount(where, axis) for axis in moving], axis=1)
    return np.rad2deg(target_map(force[shown], toward[shown])), age_s[shown]


def superior_limit_line(target: Target, toward: Floats | None = None) -> Floats:
    """Return where the superior limit runs on the map, from medial to lateral, shape (n, 2).

    Args:
        target: Says the limit.
        toward: Shape (3,), the middle of the map; None is the target at home.
    """
    azimuth = np.deg2rad(target.glide_azimuth_deg + np.linspace(-75.0, 75.0, 151))
    limit = np.deg2rad(target.superior_limit_deg)
    level = np.cos(limit)
    pushes = np.stack(
        [-level * np.cos(azimuth), np.full_like(azimuth, np.sin(limit)), level * np.sin(azimuth)],
        axis=1,
    )
    middle = target.direction if toward is None else toward
    return np.asarray(np.rad2deg(target_map(pushes, middle)))


def allowed_outline(target: Target, toward: Floats | None = None) -> Floats:
    """Return the outline of the cone without what lies above the limit, shape (n or 0, 2).

    Args:
        target: Says cone and limit.
        toward: Shape (3,), the middle of the map; None is the target at home.
    """
    limit_deg = superior_limit_line(target, toward)
    angle = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)
    cone = target.cone_deg * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    below = cone[:, 1] <= np.interp(cone[:, 0], limit_deg[:, 0], limit_deg[:, 1])
    within = np.hypot(*limit_deg.T) <= target.cone_deg
    outline = np.concatenate([cone[below], limit_deg[within]])
    if not len(outline):
        return outline  # the whole cone lies above the limit
    from_middle = outline - outline.mean(axis=0)
    return np.asarray(outline[np.argsort(np.arctan2(from_middle[:, 1], from_middle[:, 0]))])
