"""Whether something is outside its tolerance right now: what bandwidth feedback turns on."""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace

from analysis.target import ForceBand, Target
from ui.live.elevation import arm_of
from ui.live.moment import Moment
from ui.live.push import PushState


def widened(target: Target, percent: float) -> Target:
    """Return a target with tolerances of another width, about the same middle.

    Args:
        target: The target.
        percent: Width of the tolerances, 100 leaves them as they are. The superior limit keeps
            its share of the way from the downward tilt aimed at.
    """
    share = percent / 100.0
    band = target.force_band
    middle, half = (band.low_n + band.high_n) / 2.0, (band.high_n - band.low_n) / 2.0 * share
    upward = share * abs(target.superior_limit_deg + target.inferior_tilt_deg)
    return replace(
        target,
        cone_deg=min(90.0, target.cone_deg * share),
        superior_limit_deg=min(45.0, upward - target.inferior_tilt_deg),
        force_band=ForceBand(low_n=max(0.0, middle - half), high_n=middle + half),
        elevation_speed_limit_deg_s=target.elevation_speed_limit_deg_s * share,
    )


def outside(moment: Moment, target: Target, *, moving: bool) -> bool:
    """Tell whether the push, or the arm, is outside its tolerance.

    A push that has no direction is outside only while the arm is on its way, where it should
    be there; what is not known at all is not outside.

    Args:
        moment: Now.
        target: With the tolerances.
        moving: The arm is away from home.
    """
    if moment.state is PushState.SATURATED:
        return True
    if moment.state is PushState.DIRECTION and _astray(moment, target):
        return True
    if not moving or moment.state in (PushState.NO_DATA, PushState.NO_ZERO):
        return False
    _, speed_deg_s = arm_of(moment)
    too_fast = abs(speed_deg_s) > target.elevation_speed_limit_deg_s
    band = target.force_band
    right_force = band.low_n <= moment.push.magnitude_n <= band.high_n
    return too_fast or not right_force


def _astray(moment: Moment, target: Target) -> bool:
    upward = moment.push.superior_deg > target.superior_limit_deg
    return upward or float(np.hypot(*moment.push.map_deg)) > target.cone_deg
