"""The superior component: whether any of the push goes up."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ui.live.moment import Moment


@dataclass(frozen=True, slots=True)
class SuperiorLook:
    """One look at the superior component.

    Attributes:
        angle_deg: Superior angle, + upward; NaN where it is not known.
        u_deg: Its standard uncertainty.
        force_n: The component itself.
        over: Above the limit.
        word: What it means; empty where it is not known.
    """

    angle_deg: float
    u_deg: float
    force_n: float
    over: bool
    word: str


class SuperiorModel:
    """Judges the superior component of a moment."""

    def look(self, moment: Moment) -> SuperiorLook:
        """Return the superior component of now."""
        push = moment.push
        over = push.superior_deg > moment.target.superior_limit_deg
        word = "slipping up" if over else "not upward"
        return SuperiorLook(
            angle_deg=push.superior_deg,
            u_deg=push.superior_u_deg,
            force_n=push.superior_n,
            over=over,
            word="" if math.isnan(push.superior_deg) else word,
        )
