"""Parameters of the cutting into repetitions, apart from it so that settings load without it."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

Positive = Annotated[float, Meta(gt=0)]


class RepetitionSettings(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Thresholds of the cutting. All ours, unless said.

    Attributes:
        minimum_amplitude_deg: An excursion that never passes this is no repetition.
        home_deg: Below this the arm may be home. Above the 5 degrees that a rest may lie from
            home, the noise of elevation (0.5 degrees) and a resting arm's tremble.
        boundary_deg: Below this it is home, still or not.
        rest_deg: Between the two it is home once it has moved less than this for as long as
            *refractory_s*: the stop of a rig need not hang the arm straight down.
        refractory_s: A smaller excursion that begins sooner after coming home is a bounce at
            the stop and part of the repetition.
        onset_share: The movement begins and ends where its speed is this share of the peak on
            the way up, or down (5 %: common practice; at 5.9 % of a minimum-jerk movement's
            duration, Flash & Hogan 1985).
        onset_speed_deg_s: No slower than this is looked for: an orientation is not stiller.
        onset_window_share: For that the elevation is averaged over this share of the way up, or
            down: the longer a movement takes, the smaller is its speed beside a tremble's.
        onset_window_least_s: But no shorter than this,
        onset_window_most_s: nor longer.
        top_deg: Within this of the highest elevation, on either side, is the top.
        unknown_s: A longer stretch without elevation ends a repetition unfinished: the arm may
            have been anywhere.
    """

    minimum_amplitude_deg: Positive = 30.0
    home_deg: Positive = 8.0
    boundary_deg: Positive = 3.0
    rest_deg: Positive = 1.0
    refractory_s: Positive = 0.5
    onset_share: Annotated[float, Meta(gt=0, lt=1)] = 0.05
    onset_speed_deg_s: Positive = 0.1
    onset_window_share: Annotated[float, Meta(gt=0, lt=1)] = 0.05
    onset_window_least_s: Positive = 0.1
    onset_window_most_s: Positive = 1.0
    top_deg: Positive = 3.0
    unknown_s: Positive = 1.0

    def __post_init__(self) -> None:
        if not self.boundary_deg <= self.home_deg <= self.minimum_amplitude_deg:
            raise ValueError("boundary_deg, home_deg and minimum_amplitude_deg must rise")
        if self.onset_window_least_s > self.onset_window_most_s:
            raise ValueError("onset_window_least_s must not exceed onset_window_most_s")
