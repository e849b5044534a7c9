"""The part of the arc already done, and whether the hold was good there.

The arc is cut into steps of elevation, each judged apart for the way up and the way down. What
was done stays until the arm leaves home again.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from analysis.series import ResolvedSeries
from analysis.target import Target
from ui.live.elevation import arm_of
from ui.live.moment import Moment
from ui.live.phases import MovementPhase, PhaseFollower

Flags = NDArray[np.bool_]

TOP_DEG = 180.0
STEP_DEG = 5.0
STEPS = int(TOP_DEG / STEP_DEG)
MOVING = (MovementPhase.RAISE, MovementPhase.LOWER)
MOST = 0.75
"""A step was held well if so large a share of what is known of it was."""


class Hold(Enum):
    """How the hold was on a step; the text is for the screen."""

    NOT_YET = "not yet"
    GOOD = "held on target"
    BAD = "off target"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class ArcLook:
    """One look at the arc.

    Attributes:
        elevation_deg: Of the arm, NaN where it is not known.
        speed_deg_s: + raising.
        too_fast: Faster than the target allows.
        phase: Of the movement.
        repetitions: Finished so far.
        raising: `Hold` of each of `STEPS`, on the way up.
        lowering: Likewise, on the way down.
        word: Phase, and what was good of the arc so far.
    """

    elevation_deg: float
    speed_deg_s: float
    too_fast: bool
    phase: MovementPhase
    repetitions: int
    raising: tuple[Hold, ...]
    lowering: tuple[Hold, ...]
    word: str


class ArcModel:
    """Follows the arm and judges the steps; must see every moment."""

    def __init__(self) -> None:
        self._follower = PhaseFollower()
        self._seen = _nothing()

    def look(self, moment: Moment) -> ArcLook:
        """Return the arc of now."""
        if moment.new is not None and len(moment.new):
            called = moment.drill is not None and moment.drill.letting_go
            self._take(moment.new, moment.target, called=called)
        elevation_deg, speed_deg_s = arm_of(moment)
        phase = self._follower.phase
        up, down = (_judged(seen) for seen in self._seen)
        known = not np.isnan(elevation_deg)
        return ArcLook(
            elevation_deg=elevation_deg,
            speed_deg_s=speed_deg_s,
            too_fast=abs(speed_deg_s) > moment.target.elevation_speed_limit_deg_s,
            phase=phase,
            repetitions=self._follower.repetitions,
            raising=up,
            lowering=down,
            word=phase.value if known else moment.state.value,
        )

    def _take(self, new: ResolvedSeries, target: Target, *, called: bool) -> None:
        """Judge what is new; after a call to stop the hold is nobody's fault, and not judged."""
        was_moving = self._follower.phase in MOVING
        self._follower.feed(new)
        phase = self._follower.phase
        if phase not in MOVING:
            return
        if not was_moving:
            self._seen = _nothing()
        with np.errstate(invalid="ignore"):
            step = np.floor(np.rad2deg(new.elevation_rad) / STEP_DEG)
            there = (step >= 0) & (step < STEPS)
        good, bad = held_on_target(new, target)
        if called:
            good, bad = np.zeros_like(good), np.zeros_like(bad)
        way = 0 if phase is MovementPhase.RAISE else 1
        for kind, flags in enumerate((good, bad, ~good & ~bad)):
            where = step[there & flags].astype(np.int64)
            self._seen[way, kind] += np.bincount(where, minlength=STEPS)


def held_on_target(series: ResolvedSeries, target: Target) -> tuple[Flags, Flags]:
    """Return where the hold was good and where it was not, each (n,); the rest is not known.

    Good is inside the cone, not upward, and with a force inside its band. A hand that is away, or
    a force outside its band, is not good even where there is no direction.
    """
    band = target.force_band
    with np.errstate(invalid="ignore"):
        force_off = (series.magnitude_n < band.low_n) | (series.magnitude_n > band.high_n)
        aimed = (series.off_axis_rad <= np.deg2rad(target.cone_deg)) & (
            series.superior_angle_rad <= np.deg2rad(target.superior_limit_deg)
        )
    heard = ~series.missing & ~series.saturated & ~np.isnan(series.magnitude_n)
    directed = series.directed & heard
    good = directed & aimed & ~force_off
    bad = heard & (~series.contact | force_off | (directed & ~aimed))
    return good, bad & ~good


def _nothing() -> NDArray[np.int64]:
    return np.zeros((2, 3, STEPS), dtype=np.int64)


def _judged(seen: NDArray[np.int64]) -> tuple[Hold, ...]:
    return tuple(_hold(good, bad, unknown) for good, bad, unknown in seen.T.tolist())


def _hold(good: int, bad: int, unknown: int) -> Hold:
    if not good + bad + unknown:
        return Hold.NOT_YET
    if unknown > good + bad:
        return Hold.UNKNOWN
    return Hold.GOOD if good >= MOST * (good + bad) else Hold.BAD
