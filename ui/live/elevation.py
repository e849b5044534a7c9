"""Where the arm is, how fast it moves, and which part of the movement this is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.said import said
from ui.live.moment import Moment
from ui.live.phases import MovementPhase, PhaseFollower
from ui.live.push import PushState, newest, newest_of


@dataclass(frozen=True, slots=True)
class ElevationLook:
    """One look at the arm.

    Attributes:
        elevation_deg: NaN where it is not known.
        speed_deg_s: + raising.
        too_fast: Faster than the target allows.
        phase: Of the movement.
        repetitions: Finished so far.
        word: Phase and count for the screen; empty where the arm is not known.
        speed_word: What the speed means; likewise.
        experts_deg_s: From and to of the experts' speed where the arm is; None without one.
    """

    elevation_deg: float
    speed_deg_s: float
    too_fast: bool
    phase: MovementPhase
    repetitions: int
    word: str
    speed_word: str
    experts_deg_s: tuple[float, float] | None = None


class ElevationModel:
    """Follows the arm; must see every moment."""

    def __init__(self) -> None:
        self._follower = PhaseFollower()

    def look(self, moment: Moment) -> ElevationLook:
        """Return the arm of now."""
        if moment.new is not None:
            self._follower.feed(moment.new)
        elevation_deg, speed_deg_s = arm_of(moment)
        phase, done = self._follower.phase, self._follower.repetitions
        word = phase.value if not done else said("{} · {} done", phase.value, done)
        too_fast = abs(speed_deg_s) > moment.target.elevation_speed_limit_deg_s
        known = not np.isnan(elevation_deg)
        return ElevationLook(
            elevation_deg=elevation_deg,
            speed_deg_s=speed_deg_s,
            too_fast=too_fast,
            phase=phase,
            repetitions=done,
            word=word if known else "",
            speed_word=("too fast" if too_fast else "slow enough") if known else "",
            experts_deg_s=moment.corridor.speed_deg_s if moment.corridor else None,
        )


def arm_of(moment: Moment) -> tuple[float, float]:
    """Return elevation and speed of now in degrees, NaN where they are not known."""
    last = newest_of(moment.recent)
    if last is None or moment.state is PushState.NO_DATA:
        return np.nan, np.nan
    speed = last.elevation_speed_rad_s[newest(last)].mean()
    return float(np.rad2deg(last.elevation_rad[-1])), float(np.rad2deg(speed))
