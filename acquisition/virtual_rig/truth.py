"""What is really so at the virtual rig, for comparison with what an analysis finds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.virtual_rig.script import RepetitionPlan, Script
from acquisition.virtual_rig.world import WorldState

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Truth:
    """The truth at n times, right shoulder, base frame B.

    Attributes:
        time_s: Shape (n,), device time from the start of the streams.
        force_n: Shape (n, 3), the hand's push on the humerus; 0 without contact.
        magnitude_n: Shape (n,).
        azimuth_rad: Shape (n,), 0 straight back, + lateral; NaN without contact.
        superior_angle_rad: Shape (n,), + upward; NaN without contact.
        elevation_rad: Shape (n,).
        plane_rad: Shape (n,), NaN with the arm at home.
        elevation_speed_rad_s: Shape (n,), + raising.
        humerus_to_base: Shape (n, 3, 3), takes a vector in H to B.
        contact: Shape (n,), the hand is on.
        on_head: Shape (n, 3), unit vector in B from the head's centre to the contact point;
            NaN without contact.
        phase: Shape (n,), values of `Phase`.
        repetition: Shape (n,), number from 1, 0 after the last.
        repetitions: Those that begin before the last of the times.
        stabilising_n: Shape (n,), magnitude of the other hand's push on the scapula block.
    """

    time_s: Floats
    force_n: Floats
    magnitude_n: Floats
    azimuth_rad: Floats
    superior_angle_rad: Floats
    elevation_rad: Floats
    plane_rad: Floats
    elevation_speed_rad_s: Floats
    humerus_to_base: Floats
    contact: NDArray[np.bool_]
    on_head: Floats
    phase: NDArray[np.int64]
    repetition: NDArray[np.int64]
    repetitions: tuple[RepetitionPlan, ...]
    stabilising_n: Floats


def truth_of(world: WorldState, script: Script) -> Truth:
    """Return the state of the world in the terms of an analysis."""
    fx, fy, fz = world.force_n.T
    off = ~world.hand_on
    shaft = -world.arm.humerus_to_base[:, :, 1]
    at_home = world.arm.elevation.rad == 0.0
    last_s = float(world.time_s.max()) if len(world.time_s) else -1.0
    return Truth(
        time_s=world.time_s,
        force_n=world.force_n,
        magnitude_n=np.sqrt(fx**2 + fy**2 + fz**2),
        azimuth_rad=np.where(off, np.nan, np.arctan2(fz, -fx)),
        superior_angle_rad=np.where(off, np.nan, np.arctan2(fy, np.hypot(fx, fz))),
        elevation_rad=world.arm.elevation.rad,
        plane_rad=np.where(at_home, np.nan, np.arctan2(shaft[:, 0], shaft[:, 2])),
        elevation_speed_rad_s=world.arm.elevation.rad_s,
        humerus_to_base=world.arm.humerus_to_base,
        contact=world.hand_on,
        on_head=np.where(off[:, np.newaxis], np.nan, world.on_head),
        phase=world.phase,
        repetition=world.repetition,
        repetitions=script.plans_until(last_s),
        stabilising_n=np.linalg.norm(world.stabilising_n, axis=1),
    )
