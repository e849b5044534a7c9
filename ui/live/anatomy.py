"""The push laid over the shoulder: from above its azimuth, from the outside its upward part.

Places on the page are (to the right, up). Seen from above, whoever stands behind the shoulder has
the front at the top; whoever stands before it has the page turned round. From the outside the
front is on the right of a right shoulder and on the left of a left one, as it really is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import msgspec
import numpy as np

from analysis.target import Target
from ui.live.moment import Moment
from ui.live.push import PushState, newest_of, target_now
from ui.live.target_map import Stand

SHORTEST = 0.35
"""A push that has a direction is drawn at least so long, of the longest."""


@dataclass(frozen=True, slots=True)
class PlaneLook:
    """One look at the push in one plane.

    Attributes:
        state: What can be said of the push.
        angle_deg: In this plane: the azimuth, or the superior angle; NaN where it is not known.
        u_deg: Its standard uncertainty.
        reach: Length of the arrow, 0 to 1, by the force against the top of its band.
        inside: Where it is allowed to be; unknown is not outside.
        word: What it means; where nothing is known, why.
        target: Against which, as it stands now.
    """

    state: PushState
    angle_deg: float
    u_deg: float
    reach: float
    inside: bool
    word: str
    target: Target


class AboveModel:
    """The azimuth of the push, seen from above."""

    def look(self, moment: Moment) -> PlaneLook:
        """Return the view of now."""
        push, target = moment.push, target_as_it_stands(moment)
        low, high = azimuth_allowed(target)
        sideways = push.azimuth_deg
        words = {-1: "more lateral", 0: "along the target", 1: "less lateral"}
        where = int(sideways > high) - int(sideways < low)
        return _plane_look(moment, target, sideways, push.azimuth_u_deg, where, words[where])


class OutsideModel:
    """The superior angle of the push, seen from the outside."""

    def look(self, moment: Moment) -> PlaneLook:
        """Return the view of now."""
        push, target = moment.push, target_as_it_stands(moment)
        low, high = superior_allowed(target)
        upward = push.superior_deg
        words = {-1: "too far down", 0: "not upward", 1: "slipping up"}
        where = int(upward > high) - int(upward < low)
        return _plane_look(moment, target, upward, push.superior_u_deg, where, words[where])


def _plane_look(
    moment: Moment, target: Target, angle_deg: float, u_deg: float, where: int, word: str
) -> PlaneLook:
    known = not math.isnan(angle_deg)
    reach = 0.0
    if known:
        share = moment.push.magnitude_n / moment.target.force_band.high_n
        reach = min(1.0, max(SHORTEST, share))
    return PlaneLook(
        state=moment.state,
        angle_deg=angle_deg,
        u_deg=u_deg,
        reach=reach,
        inside=not where,
        word=word if known else moment.state.value,
        target=target,
    )


def target_as_it_stands(moment: Moment) -> Target:
    """Return the target of now as one that stands still, to half a degree."""
    if moment.target.scapula is None:
        return moment.target
    x, y, z = target_now(newest_of(moment.recent), moment.target)
    azimuth, tilt = np.rad2deg([np.arctan2(z, -x), -np.arctan2(y, np.hypot(x, z))])
    return msgspec.structs.replace(
        moment.target,
        glide_azimuth_deg=float(np.clip(np.round(2.0 * azimuth) / 2.0, -90.0, 90.0)),
        inferior_tilt_deg=float(np.clip(np.round(2.0 * tilt) / 2.0, -45.0, 45.0)),
        scapula=None,
    )


def azimuth_allowed(target: Target) -> tuple[float, float]:
    """Return from which azimuth to which a push lies in the cone, degrees."""
    return target.glide_azimuth_deg - target.cone_deg, target.glide_azimuth_deg + target.cone_deg


def superior_allowed(target: Target) -> tuple[float, float]:
    """Return from which superior angle to which a push lies in the cone and is not upward."""
    middle = -target.inferior_tilt_deg
    high = min(middle + target.cone_deg, target.superior_limit_deg)
    return min(middle - target.cone_deg, high), high


def page_from_above(azimuth_deg: float, side: str, stand: Stand) -> tuple[float, float]:
    """Return where a push of an azimuth points on the page, seen from above, as a unit vector."""
    azimuth = np.deg2rad(azimuth_deg)
    lateral, front = float(np.sin(azimuth)), -float(np.cos(azimuth))
    mirror = 1.0 if side == "right" else -1.0
    turn = 1.0 if stand is Stand.BEHIND else -1.0
    return turn * mirror * lateral, turn * front


def page_from_outside(superior_deg: float, side: str) -> tuple[float, float]:
    """Return where a push of a superior angle points on the page, seen from the outside."""
    superior = np.deg2rad(superior_deg)
    back = -1.0 if side == "right" else 1.0
    return back * float(np.cos(superior)), float(np.sin(superior))
