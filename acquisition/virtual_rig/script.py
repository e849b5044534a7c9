"""What happens when: the trainee's repetitions one after the other, each a little different.

The trial begins with the hands off, which the zero of the load cell needs. Repetition k is
made from the seed and its number alone, so an endless script costs only what is looked at.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from acquisition.virtual_rig.chance import Purpose, normals
from acquisition.virtual_rig.kinematics import minimum_jerk
from acquisition.virtual_rig.trainees import (
    SPREAD_LIMIT,
    ArmHabit,
    HandHabit,
    Spread,
    Trainee,
    blend,
)

Floats = NDArray[np.float64]

FIRST_REST_S = 4.0
"""Hands off before the first repetition: the zero needs 2 s, the orientation likes 4."""
REST_S = 4.0
"""Hands off between repetitions and after the last."""
_TOP_LIMIT_DEG = 175.0
"""No arm goes further."""


class _Draws(NamedTuple):
    """How one repetition differs, in standard deviations."""

    top: float
    force: float
    azimuth: float
    superior: float
    up: float
    down: float
    onset: float
    release: float


@dataclass(frozen=True, slots=True)
class RepetitionPlan:
    """One repetition; all times in seconds from the start of the streams.

    Attributes:
        number: From 1.
        slot_start_s: Hands off, arm at home, until *touch_s* or *raise_start_s*.
        touch_s: First contact.
        full_force_s: Full force from here on.
        raise_start_s: The arm leaves home.
        top_start_s: It has reached the top.
        lower_start_s: It leaves the top.
        home_s: It is home again.
        release_start_s: The force begins to go.
        release_end_s: The hand is off.
        slot_end_s: The next repetition's slot begins.
        top_rad: Elevation reached.
        hand: The push in this repetition.
    """

    number: int
    slot_start_s: float
    touch_s: float
    full_force_s: float
    raise_start_s: float
    top_start_s: float
    lower_start_s: float
    home_s: float
    release_start_s: float
    release_end_s: float
    slot_end_s: float
    top_rad: float
    hand: HandHabit


class Script:
    """The repetitions of one trial.

    Args:
        trainee: Who is at the rig.
        seed: Makes the differences between repetitions.
        repetitions: How many; None never ends.
        top_deg: Elevation aimed at.
    """

    def __init__(
        self, trainee: Trainee, *, seed: int, repetitions: int | None, top_deg: float
    ) -> None:
        self._trainee = trainee
        self._seed = seed
        self._count = math.inf if repetitions is None else repetitions
        self._top_deg = top_deg
        self._plans: list[RepetitionPlan] = []

    @property
    def duration_s(self) -> float:
        """Length of the trial; infinite if it never ends."""
        if self._count == math.inf:
            return math.inf
        return self._start_of_rest_after(int(self._count)) + REST_S

    def plans_until(self, time_s: float) -> tuple[RepetitionPlan, ...]:
        """Return the repetitions whose slot begins before *time_s*."""
        while len(self._plans) < self._count and self._start_of_next() <= time_s:
            self._plans.append(self._plan(len(self._plans)))
        return tuple(plan for plan in self._plans if plan.slot_start_s <= time_s)

    def cut(self, time_s: Floats) -> Iterator[tuple[RepetitionPlan, NDArray[np.bool_]]]:
        """Yield each repetition that *time_s* (n,) touches, and where: a mask (n,)."""
        if not len(time_s):
            return
        first, last = float(time_s.min()), float(time_s.max())
        for plan in self.plans_until(last):
            if plan.slot_end_s > first:
                yield plan, (time_s >= plan.slot_start_s) & (time_s < plan.slot_end_s)

    def _start_of_next(self) -> float:
        return self._plans[-1].slot_end_s if self._plans else 0.0

    def _start_of_rest_after(self, count: int) -> float:
        while len(self._plans) < count:
            self._plans.append(self._plan(len(self._plans)))
        return self._plans[count - 1].slot_end_s if count else FIRST_REST_S - REST_S

    def _plan(self, index: int) -> RepetitionPlan:
        hand, arm = self._habits(index)
        draws = self._draws(index)
        spread = self._trainee.spread
        top_deg = min(self._top_deg + spread.top_deg * draws.top, _TOP_LIMIT_DEG)
        raise_s = top_deg / (arm.raise_deg_s * (1.0 + spread.speed_percent / 100.0 * draws.up))
        lower_s = top_deg / (arm.lower_deg_s * (1.0 + spread.speed_percent / 100.0 * draws.down))

        slot_start_s = self._start_of_next()
        full_force_s = hand.full_force_s + spread.timing_s * draws.onset
        raise_start_s = slot_start_s + (REST_S if index else FIRST_REST_S)
        raise_start_s += max(0.0, hand.approach_s - full_force_s)
        top_start_s = raise_start_s + raise_s
        lower_start_s = top_start_s + arm.top_pause_s
        home_s = lower_start_s + lower_s
        release_start_s = home_s + max(
            0.0, hand.release_after_home_s + spread.timing_s * draws.release
        )
        if hand.release_elevation_deg > 0.0:
            way_down = 1.0 - min(1.0, hand.release_elevation_deg / top_deg)
            release_start_s = lower_start_s + lower_s * _phase_at(way_down)
        release_start_s = max(release_start_s, raise_start_s + full_force_s)
        return RepetitionPlan(
            number=index + 1,
            slot_start_s=slot_start_s,
            touch_s=raise_start_s + full_force_s - hand.approach_s,
            full_force_s=raise_start_s + full_force_s,
            raise_start_s=raise_start_s,
            top_start_s=top_start_s,
            lower_start_s=lower_start_s,
            home_s=home_s,
            release_start_s=release_start_s,
            release_end_s=release_start_s + hand.release_s,
            slot_end_s=max(home_s, release_start_s + hand.release_s),
            top_rad=math.radians(top_deg),
            hand=_varied(hand, spread, draws),
        )

    def _habits(self, index: int) -> tuple[HandHabit, ArmHabit]:
        own, model = self._trainee, self._trainee.model
        if model is None:
            return own.hand, own.arm
        learnt = 1.0 - math.exp(-index / own.learning_repetitions)
        return blend(own.hand, model.hand, learnt), blend(own.arm, model.arm, learnt)

    def _draws(self, index: int) -> _Draws:
        row = normals(
            self._seed,
            Purpose.REPETITION,
            first=index,
            rows=1,
            columns=len(_Draws._fields),
            who=self._trainee.code,
        )
        return _Draws(*np.clip(row[0], -SPREAD_LIMIT, SPREAD_LIMIT).tolist())


def _varied(hand: HandHabit, spread: Spread, draws: _Draws) -> HandHabit:
    return msgspec.structs.replace(
        hand,
        force_n=hand.force_n * (1.0 + spread.force_percent / 100.0 * draws.force),
        azimuth_deg=hand.azimuth_deg + spread.azimuth_deg * draws.azimuth,
        superior_deg=hand.superior_deg + spread.superior_deg * draws.superior,
    )


def _phase_at(share: float) -> float:
    """Return the phase at which a minimum-jerk movement has gone *share* of its way."""
    low, high = 0.0, 1.0
    for _ in range(60):  # halves to below the last bit of a double
        middle = (low + high) / 2.0
        position = float(minimum_jerk(np.array(middle))[0])
        low, high = (middle, high) if position < share else (low, middle)
    return high
