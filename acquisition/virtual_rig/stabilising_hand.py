"""The other hand, which steadies the scapula block, in B of a right shoulder.

It comes before the gliding hand and stays until the repetition is over, unless its habit says
otherwise. It pushes against the glide, forward and inward, and trembles a little.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acquisition.virtual_rig.chance import Purpose, uniforms
from acquisition.virtual_rig.hand import TREMBLE_BAND_HZ, Waves, push_direction
from acquisition.virtual_rig.kinematics import minimum_jerk
from acquisition.virtual_rig.script import RepetitionPlan
from acquisition.virtual_rig.trainees import TREMBLE_WAVES, StabiliserHabit

Floats = NDArray[np.float64]

AHEAD_S = 1.0
"""It touches so long before the gliding hand."""
APPROACH_S = 0.6
RELEASE_S = 0.4
AWAY_FROM_GLIDE = -push_direction(np.deg2rad(np.array([30.0])), np.deg2rad(np.array([-5.0])))[0]
"""Unit vector against the usual glide."""


class StabilisingHand:
    """One person's other hand.

    Args:
        habit: What it does.
        seed: Gives it its own tremble.
        code: Of the person.
    """

    def __init__(self, habit: StabiliserHabit, seed: int, code: str) -> None:
        self._habit = habit
        unit = uniforms(seed, Purpose.STABILISER, first=0, rows=2, columns=TREMBLE_WAVES, who=code)
        self._tremble = Waves(unit, TREMBLE_BAND_HZ)

    def push(self, plan: RepetitionPlan, time_s: Floats) -> Floats:
        """Return its push on the block in one repetition, shape (n, 3), B.

        Args:
            plan: The repetition.
            time_s: Shape (n,), all within its slot.
        """
        habit = self._habit
        begin_s = plan.touch_s - AHEAD_S
        pressed = minimum_jerk((time_s - begin_s) / APPROACH_S)[0]
        let_go = minimum_jerk((time_s - self._release_s(plan)) / RELEASE_S)[0]
        held = habit.force_n + habit.tremble_n * self._tremble(time_s)
        size = pressed * (1.0 - let_go) * np.maximum(held, 0.0) * (habit.force_n > 0.0)
        return np.asarray(size[:, np.newaxis] * AWAY_FROM_GLIDE)

    def _release_s(self, plan: RepetitionPlan) -> float:
        """Return when it begins to let go."""
        share = self._habit.release_share
        if share == 0.0:
            return plan.slot_end_s - RELEASE_S
        return plan.raise_start_s + share * (plan.home_s - plan.raise_start_s)
