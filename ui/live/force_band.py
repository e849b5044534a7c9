"""The force against its band."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ui.live.moment import Moment
from ui.live.push import PushState


@dataclass(frozen=True, slots=True)
class ForceBandLook:
    """One look at the force.

    Attributes:
        force_n: Magnitude, NaN where it is not known.
        outside: Out of the band; unknown is not.
        word: What it means, or why there is none.
    """

    force_n: float
    outside: bool
    word: str


class ForceBandModel:
    """Judges the force of a moment."""

    def look(self, moment: Moment) -> ForceBandLook:
        """Return the force of now."""
        force_n, band = moment.push.magnitude_n, moment.target.force_band
        if math.isnan(force_n) or moment.state is PushState.NO_CONTACT:
            return ForceBandLook(force_n, outside=False, word=moment.state.value)
        if force_n < band.low_n:
            return ForceBandLook(force_n, outside=True, word="below the band")
        if force_n > band.high_n:
            return ForceBandLook(force_n, outside=True, word="above the band")
        return ForceBandLook(force_n, outside=False, word="in the band")
