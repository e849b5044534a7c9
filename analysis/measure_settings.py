"""Parameters of the measures, apart from the measures so that settings load without them."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

Positive = Annotated[float, Meta(gt=0)]
Count = Annotated[int, Meta(ge=2)]


class MeasureSettings(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the measures depend on besides the target. All ours, unless said.

    Attributes:
        shortest_s: Less of anything is not measured: at 10 Hz it is one independent value.
        cv_smallest_mean_n: A coefficient of variation divides by the mean; below ten times the
            uncertainty of a good cell (0.2 N) it says nothing.
        drift_range_deg: A drift against elevation needs this much of the arc.
        drift_points: Theil-Sen looks at all pairs of so many samples, evenly picked; neighbours
            in a signal low-passed at 10 Hz add nothing.
        drift_outer_share: Share of the elevation range at either end that "early" and "late" are.
        down_deg: A hand that goes below this has not let go early: the arm is as good as down.
        limb_share: A limb of a movement lasts while its speed is above this share of its peak
            (5 %: common practice).
        jerk_cutoff_hz: Jerk is the second derivative of speed and would be the gyroscope's noise.
            A hesitation lasts half a second or more; a movement slower than about ten seconds
            shows noise all the same and looks less smooth than it is.
        profile_bin_deg: Width of the bins of elevation of a profile.
        tremor_low_hz: Physiological tremor of a hand lies above this (common practice),
        tremor_high_hz: and below this.
    """

    shortest_s: Positive = 0.1
    cv_smallest_mean_n: Positive = 2.0
    drift_range_deg: Positive = 10.0
    drift_points: Count = 250
    drift_outer_share: Annotated[float, Meta(gt=0, le=0.5)] = 0.1
    down_deg: Positive = 5.0
    limb_share: Annotated[float, Meta(gt=0, lt=1)] = 0.05
    jerk_cutoff_hz: Positive = 2.0
    profile_bin_deg: Annotated[float, Meta(gt=0, le=60)] = 5.0
    tremor_low_hz: Positive = 8.0
    tremor_high_hz: Positive = 12.0

    def __post_init__(self) -> None:
        if self.tremor_low_hz >= self.tremor_high_hz:
            raise ValueError("tremor_low_hz must lie below tremor_high_hz")
