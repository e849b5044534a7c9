"""The shell's weight and inertia against statics and against motion differentiated numerically."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from acquisition.physical import Geometry
from analysis.shell import ShellMotion, hand_wrench, specific_force_at

Floats = NDArray[np.float64]
G = 9.80665
GEOMETRY = Geometry(
    imu_m=np.array([0.02, -0.16, 0.01]),
    com_m=np.array([0.0, -0.1, 0.01]),
    cell_origin_m=np.zeros(3),
    head_centre_m=np.zeros(3),
    head_radius_m=0.025,
    mass_kg=0.8,
    vertical_in_base=np.array([0.0, 1.0, 0.0]),
)


def still(pose: Rotation) -> ShellMotion:
    """At rest an accelerometer feels g upward, whatever the pose."""
    nothing = np.zeros((1, 3))
    return ShellMotion(pose.inv().apply([[0.0, G, 0.0]]), nothing, nothing)


def weight_on_cell(pose: Rotation) -> tuple[Floats, Floats]:
    """Force and moment that the hanging shell puts on the cell, in H: R^T (0, −mg, 0), com × F."""
    force = pose.inv().apply([[0.0, -GEOMETRY.mass_kg * G, 0.0]])
    return force, np.cross(GEOMETRY.com_m, force)


@pytest.mark.parametrize(
    ("angles_deg", "force_n", "moment_nm"),
    [
        ((0.0, 0.0, 0.0), (0.0, -7.84532, 0.0), (0.0784532, 0.0, 0.0)),
        (
            (30.0, -60.0, -45.0),
            (-4.80425772, -3.92266, -4.80425772),
            (0.51965237, -0.04804258, -0.48042577),
        ),
    ],
)
def test_a_resting_shell_weighs_nothing_in_any_pose(
    angles_deg: tuple[float, float, float],
    force_n: tuple[float, float, float],
    moment_nm: tuple[float, float, float],
) -> None:
    """0.8 kg at (0, −0.1, 0.01) m: statics, recomputed by hand for both poses (Y-X-Y)."""
    pose = Rotation.from_euler("YXY", angles_deg, degrees=True)
    force, moment = weight_on_cell(pose)
    assert force[0] == pytest.approx(force_n, abs=1e-8)
    assert moment[0] == pytest.approx(moment_nm, abs=1e-8)

    both = hand_wrench(np.hstack([force, moment]), GEOMETRY, still(pose))

    assert both == pytest.approx(0.0, abs=1e-12)
    assert hand_wrench(force, GEOMETRY, still(pose)) == pytest.approx(0.0, abs=1e-12)


def test_a_hanging_weight_shows_downward() -> None:
    """The sign: 2 kg on the shell pull with 19.6 N down, whatever the pose."""
    pose = Rotation.from_euler("YXY", [10.0, -90.0, 35.0], degrees=True)
    shell, _ = weight_on_cell(pose)
    hung = pose.inv().apply([[0.0, -2.0 * G, 0.0]])

    push = pose.apply(hand_wrench(shell + hung, GEOMETRY, still(pose)))

    assert push[0] == pytest.approx([0.0, -2.0 * G, 0.0], abs=1e-9)


def spinning(time_s: Floats) -> Rotation:
    """Turn about a slanted axis that itself sways: no closed form is used below."""
    axis = np.stack([np.cos(time_s), 0.3 * np.sin(2 * time_s), np.sin(time_s) + 0.5], axis=1)
    return Rotation.from_rotvec(axis * (0.8 * time_s**2)[:, np.newaxis])


def test_the_lever_terms_equal_the_acceleration_of_the_point() -> None:
    """Specific force carried from the IMU to the shell, against second differences of its path."""
    step = 1e-4
    time_s = np.linspace(0.5, 1.5, 30)
    before, now, after = spinning(time_s - step), spinning(time_s), spinning(time_s + step)

    def felt(point_m: Floats) -> Floats:
        path = [turn.apply(point_m) for turn in (before, now, after)]
        acceleration = (path[0] - 2 * path[1] + path[2]) / step**2
        return np.asarray(now.inv().apply(acceleration + np.array([0.0, G, 0.0])))

    def rate(middle: Floats) -> Floats:
        first, second = spinning(middle - step), spinning(middle + step)
        return np.asarray((first.inv() * second).as_rotvec() / (2 * step))

    turning = (rate(time_s + step) - rate(time_s - step)) / (2 * step)
    motion = ShellMotion(felt(GEOMETRY.imu_m), rate(time_s), turning)

    carried = specific_force_at(GEOMETRY.com_m, GEOMETRY, motion)

    assert carried == pytest.approx(felt(GEOMETRY.com_m), abs=2e-4)
    assert np.abs(carried - motion.specific_force_m_s2).max() > 0.3


def test_the_weight_stays_in_when_asked() -> None:
    pose = Rotation.from_euler("YXY", [0.0, -60.0, 0.0], degrees=True)
    force, _ = weight_on_cell(pose)

    left_in = hand_wrench(force, GEOMETRY, still(pose), compensate=False)

    np.testing.assert_array_equal(left_in, force)


def test_a_weightless_shell_needs_no_accelerometer() -> None:
    light = dataclasses.replace(GEOMETRY, mass_kg=0.0)
    push = np.array([[-30.0, 4.0, 12.0]])

    assert hand_wrench(push, light, still(Rotation.identity())) == pytest.approx(push)
