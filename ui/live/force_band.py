"""The force against its band."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ui.live.moment import Moment
from ui.live.push import PushState

LAST_S = 1.0
"""How steady is told of the last second; a straight drift in it is no tremble."""
ENOUGH = 0.9


@dataclass(frozen=True, slots=True)
class ForceBandLook:
    """One look at the force.

    Attributes:
        force_n: Magnitude, NaN where it is not known.
        outside: Out of the band; unknown is not.
        word: What it means, or why there is none.
        spread_n: From and to, twice the SD of the last second to each side of its mean; None
            where the force is not known for so long.
        experts_n: From and to of the experts' band where the arm is; None without one.
    """

    force_n: float
    outside: bool
    word: str
    spread_n: tuple[float, float] | None = None
    experts_n: tuple[float, float] | None = None


class ForceBandModel:
    """Judges the force of a moment."""

    def look(self, moment: Moment) -> ForceBandLook:
        """Return the force of now."""
        force_n, band = moment.push.magnitude_n, moment.target.force_band
        experts_n = moment.corridor.force_n if moment.corridor else None
        if math.isnan(force_n) or moment.state is PushState.NO_CONTACT:
            return ForceBandLook(force_n, False, moment.state.value, experts_n=experts_n)
        mean_n, sd_n = tremble_of(moment)
        spread_n = None if math.isnan(sd_n) else (mean_n - 2.0 * sd_n, mean_n + 2.0 * sd_n)
        if force_n < band.low_n:
            return ForceBandLook(force_n, True, "below the band", spread_n, experts_n)
        if force_n > band.high_n:
            return ForceBandLook(force_n, True, "above the band", spread_n, experts_n)
        word = "in the band, unsteady" if is_unsteady(moment) else "in the band"
        return ForceBandLook(force_n, False, word, spread_n, experts_n)


def is_unsteady(moment: Moment) -> bool:
    """Tell whether the force of the last second varies more than the target allows."""
    mean_n, sd_n = tremble_of(moment)
    return 100.0 * sd_n > moment.target.force_cv_limit_percent * mean_n


def tremble_of(moment: Moment) -> tuple[float, float]:
    """Return mean and SD of the last second of force, a straight line taken out of the SD.

    NaN where the hand was not on all the time.
    """
    wanted_s = moment.recent[-1].time_s[-1] - LAST_S if moment.recent else 0.0
    late = [one for one in moment.recent if one.time_s[-1] > wanted_s]
    if not late:
        return math.nan, math.nan
    since = int(np.searchsorted(late[0].time_s, wanted_s))
    force_n = np.concatenate([one.magnitude_n for one in late])[since:]
    on = np.concatenate([one.contact for one in late])[since:]
    if len(force_n) < ENOUGH * LAST_S * late[0].fs_hz or not on.all() or np.isnan(force_n).any():
        return math.nan, math.nan
    at = np.linspace(-1.0, 1.0, len(force_n))
    mean_n = float(force_n.mean())
    slope_n = float(at @ force_n) / float(at @ at)
    return mean_n, float(np.std(force_n - slope_n * at))
