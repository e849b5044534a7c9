"""Arm and hand together: everything that is so at a given time, sensors apart."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from acquisition.virtual_rig.hand import Hand
from acquisition.virtual_rig.kinematics import (
    Angle,
    ArmMotion,
    arm_motion,
    excursion,
    minimum_jerk,
)
from acquisition.virtual_rig.script import RepetitionPlan, Script
from acquisition.virtual_rig.stabilising_hand import StabilisingHand

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


EASE_S = 0.35
"""How long a hand takes to ease off once it does. Our choice."""


class Phase(IntEnum):
    """What is going on; set-up and release need the hand on and the arm at home."""

    REST = 0
    SETUP = 1
    RAISE = 2
    TOP = 3
    LOWER = 4
    RELEASE = 5


@dataclass(frozen=True, slots=True)
class WorldState:
    """The world at n times, right shoulder.

    Attributes:
        time_s: Shape (n,), from the start of the streams.
        arm: Pose and motion.
        force_n: Shape (n, 3), the hand's push on the humerus, B.
        on_head: Shape (n, 3), unit vector in B from the head's centre to the contact point;
            means something only while the hand is on.
        hand_on: Shape (n,).
        phase: Shape (n,), values of `Phase`.
        repetition: Shape (n,), number from 1 of the repetition whose time it is, 0 after the
            last; the rest before a repetition belongs to it.
        stabilising_n: Shape (n, 3), the other hand's push on the scapula block, B.
    """

    time_s: Floats
    arm: ArmMotion
    force_n: Floats
    on_head: Floats
    hand_on: NDArray[np.bool_]
    phase: Ints
    repetition: Ints
    stabilising_n: Floats


class World:
    """The world as a function of time.

    Args:
        script: What happens when.
        hand: Whose hand.
        stabilising: The same person's other hand.
        plane_rad: Plane of elevation.
        axial_ratio: Axial rotation gained per elevation.
    """

    def __init__(
        self,
        script: Script,
        hand: Hand,
        stabilising: StabilisingHand,
        *,
        plane_rad: float,
        axial_ratio: float,
    ) -> None:
        self.script = script
        self._hand = hand
        self._stabilising = stabilising
        self._plane_rad = plane_rad
        self._axial_ratio = axial_ratio
        self._eases_s: list[float] = []

    def ease_off(self, at_s: float) -> None:
        """Let the hand begin to ease off at a time, for the rest of that repetition."""
        self._eases_s.append(at_s)

    def forget_easing(self) -> None:
        """Let everything be as the script has it."""
        self._eases_s.clear()

    def at(self, time_s: Floats) -> WorldState:
        """Return the world at *time_s* (n,), in any order."""
        size = len(time_s)
        elevation = Angle(np.zeros(size), np.zeros(size), np.zeros(size))
        force, on_head = np.zeros((size, 3)), np.zeros((size, 3))
        stabilising = np.zeros((size, 3))
        phase = np.full(size, Phase.REST, dtype=np.int64)
        repetition = np.zeros(size, dtype=np.int64)
        for plan, here in self.script.cut(time_s):
            lift = _lift(plan, time_s[here])
            elevation.rad[here] = lift.rad
            elevation.rad_s[here] = lift.rad_s
            elevation.rad_s2[here] = lift.rad_s2
            push = self._hand.push(plan, time_s[here], lift.rad)
            left = self._left(plan, time_s[here])
            force[here], on_head[here] = left[:, np.newaxis] * push.force_n, push.on_head
            stabilising[here] = self._stabilising.push(plan, time_s[here])
            phase[here] = _phases(plan, time_s[here])
            repetition[here] = plan.number
        arm = arm_motion(elevation, plane_rad=self._plane_rad, axial_ratio=self._axial_ratio)
        hand_on = np.asarray((force != 0.0).any(axis=1))
        return WorldState(time_s, arm, force, on_head, hand_on, phase, repetition, stabilising)

    def _left(self, plan: RepetitionPlan, time_s: Floats) -> Floats:
        """Return what easing off leaves of the push, 1 to 0, shape (n,)."""
        left = np.ones_like(time_s)
        for at_s in self._eases_s:
            if plan.slot_start_s <= at_s < plan.slot_end_s:
                left = np.minimum(left, 1.0 - minimum_jerk((time_s - at_s) / EASE_S)[0])
        return left


def _lift(plan: RepetitionPlan, time_s: Floats) -> Angle:
    return excursion(
        time_s,
        top_rad=plan.top_rad,
        raise_start_s=plan.raise_start_s,
        raise_s=plan.top_start_s - plan.raise_start_s,
        lower_start_s=plan.lower_start_s,
        lower_s=plan.home_s - plan.lower_start_s,
    )


def _phases(plan: RepetitionPlan, time_s: Floats) -> Ints:
    """Later entries win where spans meet: the arm's movement decides before the hand does."""
    spans = [
        (plan.touch_s, plan.raise_start_s, Phase.SETUP),
        (plan.home_s, plan.release_end_s, Phase.RELEASE),
        (plan.raise_start_s, plan.top_start_s, Phase.RAISE),
        (plan.top_start_s, plan.lower_start_s, Phase.TOP),
        (plan.lower_start_s, plan.home_s, Phase.LOWER),
    ]
    phase = np.full(len(time_s), Phase.REST, dtype=np.int64)
    for start_s, stop_s, name in spans:
        phase[(time_s >= start_s) & (time_s < stop_s)] = name
    return phase
