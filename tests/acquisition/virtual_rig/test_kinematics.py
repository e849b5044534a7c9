from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.virtual_rig.kinematics import (
    Angle,
    ArmMotion,
    arm_motion,
    excursion,
    isb_rotation,
    minimum_jerk,
)

Floats = NDArray[np.float64]

STEP_S = 1e-4


def rotation(plane_deg: float, elevation_deg: float, axial_deg: float) -> Floats:
    angles = np.deg2rad([[plane_deg], [elevation_deg], [axial_deg]])
    turned: Floats = isb_rotation(*angles)[0]
    return turned


def lift(time_s: Floats) -> Angle:
    return excursion(
        time_s,
        top_rad=float(np.deg2rad(150.0)),
        raise_start_s=1.0,
        raise_s=3.0,
        lower_start_s=4.7,
        lower_s=2.5,
    )


def moving(time_s: Floats, plane_deg: float) -> ArmMotion:
    return arm_motion(lift(time_s), plane_rad=float(np.deg2rad(plane_deg)), axial_ratio=-0.3)


def test_the_isb_sequence_gives_the_worked_rotation() -> None:
    """Y-X-Y of Wu et al. 2005; numbers recomputed with a general Euler routine (30, −60, −45)."""
    expected = [
        [0.7891491310, -0.4330127019, -0.4355957404],
        [0.6123724357, 0.5, 0.6123724357],
        [-0.0473671727, -0.75, 0.6597396084],
    ]

    assert rotation(30.0, 60.0, -45.0) == pytest.approx(np.array(expected), abs=1e-10)


@pytest.mark.parametrize(
    ("plane_deg", "elevation_deg", "axial_deg", "shaft"),
    [
        (0.0, 90.0, 0.0, (0.0, 0.0, 1.0)),  # abduction: the arm points to the right
        (90.0, 90.0, 0.0, (1.0, 0.0, 0.0)),  # flexion: straight ahead
        (30.0, 90.0, 12.0, (0.5, 0.0, 0.8660254038)),
        (30.0, 60.0, -45.0, (0.4330127019, -0.5, 0.75)),
        (30.0, 120.0, 20.0, (0.4330127019, 0.5, 0.75)),
    ],
)
def test_the_shaft_points_where_plane_and_elevation_say(
    plane_deg: float, elevation_deg: float, axial_deg: float, shaft: tuple[float, float, float]
) -> None:
    pose = rotation(plane_deg, elevation_deg, axial_deg)

    assert pose @ [0.0, -1.0, 0.0] == pytest.approx(np.array(shaft), abs=1e-10)


@pytest.mark.parametrize("plane_deg", [0.0, 30.0, 90.0])
def test_home_is_the_identity_in_every_plane(plane_deg: float) -> None:
    home = moving(np.array([0.0, 0.9, 8.0]), plane_deg)

    assert home.humerus_to_base == pytest.approx(np.stack([np.eye(3)] * 3), abs=1e-15)
    assert not home.rate_rad_s.any()
    assert not home.acceleration_rad_s2.any()


def test_minimum_jerk_has_its_published_values() -> None:
    """Flash & Hogan 1985: x = 10τ³ − 15τ⁴ + 6τ⁵, peak speed 1.875 × mean."""
    at = np.array([0.1, 0.25, 0.5, 0.75, 0.9])
    position, velocity, _ = minimum_jerk(at)
    fastest = 0.5 - np.sqrt(3.0) / 6.0

    assert position == pytest.approx(
        np.array([0.00856, 0.103515625, 0.5, 0.896484375, 0.99144]), abs=1e-12
    )
    assert velocity[2] == pytest.approx(1.875)
    assert minimum_jerk(np.array([fastest]))[2] == pytest.approx(10.0 / np.sqrt(3.0))


def test_smoothness_is_that_of_a_minimum_jerk_raise() -> None:
    """Dimensionless jerk −204.8 exactly (Balasubramanian et al. 2012), whatever the size."""
    time_s = np.linspace(1.0, 4.0, 30_001)
    angle = lift(time_s)
    jerk = np.gradient(angle.rad_s2, time_s)

    dimensionless = 3.0**3 / angle.rad_s.max() ** 2 * np.trapezoid(jerk**2, time_s)

    assert dimensionless == pytest.approx(204.8, rel=1e-3)


@pytest.mark.parametrize("plane_deg", [0.0, 30.0, 90.0])
def test_angular_rate_is_the_change_of_the_pose(plane_deg: float) -> None:
    time_s = np.arange(0.5, 8.0, 0.0137)
    before = moving(time_s - STEP_S, plane_deg).humerus_to_base
    after = moving(time_s + STEP_S, plane_deg).humerus_to_base
    now = moving(time_s, plane_deg)

    change = (after - before) / (2 * STEP_S)
    spin = np.einsum("nji,njk->nik", now.humerus_to_base, change)  # skew: ω× in H

    assert spin[:, 2, 1] == pytest.approx(now.rate_rad_s[:, 0], abs=1e-6)
    assert spin[:, 0, 2] == pytest.approx(now.rate_rad_s[:, 1], abs=1e-6)
    assert spin[:, 1, 0] == pytest.approx(now.rate_rad_s[:, 2], abs=1e-6)


def test_angular_acceleration_is_the_change_of_the_rate() -> None:
    time_s = np.arange(0.5, 8.0, 0.0137)
    before, after = moving(time_s - STEP_S, 30.0), moving(time_s + STEP_S, 30.0)

    change = (after.rate_rad_s - before.rate_rad_s) / (2 * STEP_S)

    # The jerk jumps where a raise begins and ends; a difference across is off by jerk · step.
    assert change == pytest.approx(moving(time_s, 30.0).acceleration_rad_s2, abs=1e-3)
    assert np.abs(change).max() > 1.0
