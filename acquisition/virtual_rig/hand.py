"""The hand's push as a closed-form function of time and elevation, in B of a right shoulder.

Magnitude: minimum-jerk approach, hold with slow change, wander and tremble, minimum-jerk
release. Direction: azimuth and superior angle with drift along the elevation and tremble.
Wander and tremble are sums of sinusoids with seeded frequencies and phases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.virtual_rig.chance import Purpose, uniforms
from acquisition.virtual_rig.kinematics import minimum_jerk
from acquisition.virtual_rig.script import RepetitionPlan
from acquisition.virtual_rig.trainees import TREMBLE_WAVES, WANDER_WAVES, HandHabit

Floats = NDArray[np.float64]

TREMBLE_BAND_HZ = (3.0, 10.0)
WANDER_BAND_HZ = (0.05, 0.5)


@dataclass(frozen=True, slots=True)
class Push:
    """The hand over time.

    Attributes:
        force_n: Shape (n, 3), B.
        on_head: Shape (n, 3), unit vector in B from the head's centre to the contact point.
    """

    force_n: Floats
    on_head: Floats


class Waves:
    """A sum of equal sinusoids with SD 1, frequencies and phases drawn once.

    Args:
        unit: Shape (2, waves), numbers between 0 and 1: frequencies and phases.
        band_hz: Where the frequencies lie; one in each equal part of the band, so that the
            sum has no slow beat.
    """

    def __init__(self, unit: Floats, band_hz: tuple[float, float]) -> None:
        low, high = band_hz
        waves = unit.shape[1]
        self._hz = low + (high - low) * (np.arange(waves) + unit[0]) / waves
        self._phase = 2.0 * np.pi * unit[1]

    def __call__(self, time_s: Floats) -> Floats:
        """Return the sum at *time_s* (n,)."""
        total = np.zeros_like(time_s)
        for hz, phase in zip(self._hz, self._phase, strict=True):
            total += np.sin(2.0 * np.pi * hz * time_s + phase)
        scaled: Floats = total * np.sqrt(2.0 / len(self._hz))
        return scaled


class Hand:
    """One person's hand; the seed gives it its own tremble."""

    def __init__(self, seed: int, code: str) -> None:
        unit = uniforms(seed, Purpose.TREMBLE, first=0, rows=8, columns=TREMBLE_WAVES, who=code)
        self._tremble = Waves(unit[0:2], TREMBLE_BAND_HZ)
        self._tremble_sideways = Waves(unit[2:4], TREMBLE_BAND_HZ)
        self._tremble_upward = Waves(unit[4:6], TREMBLE_BAND_HZ)
        self._wander = Waves(unit[6:8, :WANDER_WAVES], WANDER_BAND_HZ)

    def push(self, plan: RepetitionPlan, time_s: Floats, elevation_rad: Floats) -> Push:
        """Return the push in one repetition.

        Args:
            plan: The repetition.
            time_s: Shape (n,), all within its slot.
            elevation_rad: Shape (n,).
        """
        habit = plan.hand
        tens = np.rad2deg(elevation_rad) / 10.0
        drifting = np.maximum(tens - habit.drift_from_deg / 10.0, 0.0)
        azimuth = habit.azimuth_deg + habit.azimuth_drift_deg_per_10deg * drifting
        superior = habit.superior_deg + habit.superior_drift_deg_per_10deg * drifting
        direction = push_direction(
            np.deg2rad(azimuth + habit.tremble_deg * self._tremble_sideways(time_s)),
            np.deg2rad(superior + habit.tremble_deg * self._tremble_upward(time_s)),
        )
        # Set down where the push goes through the centre; a climbing hand is seen from there
        # under a steeper angle.
        contact = -push_direction(
            np.full_like(tens, np.deg2rad(habit.azimuth_deg)),
            np.deg2rad(habit.superior_deg - habit.contact_slip_deg_per_10deg * tens),
        )
        size = self._magnitude(plan, habit, time_s)
        return Push(size[:, np.newaxis] * direction, contact)

    def _magnitude(self, plan: RepetitionPlan, habit: HandHabit, time_s: Floats) -> Floats:
        pressed = minimum_jerk((time_s - plan.touch_s) / (plan.full_force_s - plan.touch_s))[0]
        let_go = minimum_jerk(
            (time_s - plan.release_start_s) / (plan.release_end_s - plan.release_start_s)
        )[0]
        on_s = plan.release_end_s - plan.touch_s
        change = habit.force_change_percent / 100.0 * (time_s - plan.touch_s) / on_s
        held = habit.force_n * (1.0 + change)
        held += habit.wander_n * self._wander(time_s) + habit.tremble_n * self._tremble(time_s)
        size: Floats = pressed * (1.0 - let_go) * np.maximum(held, 0.0)
        return size


def push_direction(azimuth_rad: Floats, superior_rad: Floats) -> Floats:
    """Return unit vectors (n, 3) in B: azimuth 0 straight back, + lateral; superior + upward."""
    level = np.cos(superior_rad)
    return np.stack(
        [-level * np.cos(azimuth_rad), np.sin(superior_rad), level * np.sin(azimuth_rad)], axis=1
    )
