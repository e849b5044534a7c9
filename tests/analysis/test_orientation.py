"""Orientation: conventions by hand, rests that are none, gaps, and open data with optical truth."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.home import heading_of, home_rests, still_rate
from analysis.inertial import up_in_humerus
from analysis.orientation import Orientation, into_base, level, twist
from analysis.pose import distal_axis, elevation, elevation_speed, plane_of_elevation
from analysis.settings import AnalysisSettings
from analysis.turns import Turns

Floats = NDArray[np.float64]
DEFAULTS = AnalysisSettings()
UP = np.array([0.0, 1.0, 0.0])
TOLERANCE = np.deg2rad(5.0)
FS_HZ = 100.0
GRAVITY = 9.80665
NEVER = 1e-9


def shaft_of(poses: Rotation) -> Floats:
    return distal_axis(Turns(poses.as_quat()))


def distal_of(found: Orientation) -> Floats:
    return distal_axis(Turns(found.humerus_to_base))


# --- conventions ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("plane_deg", "elevation_deg", "axial_deg", "shaft"),
    [
        (0.0, 90.0, 0.0, (0.0, 0.0, 1.0)),
        (90.0, 90.0, 0.0, (1.0, 0.0, 0.0)),
        (30.0, 90.0, 0.0, (0.5, 0.0, 0.8660254038)),
        (30.0, 60.0, -45.0, (0.4330127019, -0.5, 0.75)),
        (30.0, 120.0, 20.0, (0.4330127019, 0.5, 0.75)),
    ],
)
def test_elevation_and_plane_follow_the_isb(
    plane_deg: float,
    elevation_deg: float,
    axial_deg: float,
    shaft: tuple[float, float, float],
) -> None:
    """Wu et al. 2005, J Biomech 38:981: Y-X′-Y″, elevation negative about X of a right arm."""
    pose = Rotation.from_euler("YXY", [[plane_deg, -elevation_deg, axial_deg]], degrees=True)
    assert pose.apply([0.0, -1.0, 0.0])[0] == pytest.approx(shaft, abs=1e-9)

    assert np.rad2deg(elevation(shaft_of(pose))) == pytest.approx([elevation_deg])
    assert np.rad2deg(plane_of_elevation(shaft_of(pose), NEVER)) == pytest.approx([plane_deg])


def test_the_plane_is_unknown_near_hanging_and_near_straight_up() -> None:
    poses = Rotation.from_euler(
        "YXY", [[30.0, -angle, 0.0] for angle in (5.0, 12.0, 168.0, 175.0)], degrees=True
    )

    plane = np.rad2deg(plane_of_elevation(shaft_of(poses), np.deg2rad(10.0)))

    assert np.isnan(plane).tolist() == [True, False, False, True]


def test_the_speed_is_the_slope_of_the_elevation() -> None:
    """A swaying arm: against central differences of the elevation itself."""
    time_s = np.linspace(0.0, 4.0, 4001)
    angles = np.stack(
        [20.0 + 15.0 * np.sin(time_s), -70.0 - 50.0 * np.sin(1.3 * time_s), 30.0 * time_s], axis=1
    )
    poses = Rotation.from_euler("YXY", angles, degrees=True)
    step = time_s[1]
    rate = np.asarray((poses[:-2].inv() * poses[2:]).as_rotvec() / (2 * step))

    turns = Turns(poses[1:-1].as_quat())

    speed = elevation_speed(turns, distal_axis(turns), rate)

    assert speed == pytest.approx(np.gradient(elevation(shaft_of(poses)), step)[1:-1], abs=1e-5)


def test_verticals_are_those_of_scipy() -> None:
    turned = Rotation.random(200, random_state=2)

    up = turned.inv().apply([0.0, 0.0, 1.0])
    assert up_in_humerus(turned.as_quat()) == pytest.approx(up, abs=1e-12)


@pytest.mark.parametrize(
    "up", [(0.0, 1.0, 0.0), (0.034899497, 0.999390827, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)]
)
def test_levelling_brings_up_to_up(up: tuple[float, float, float]) -> None:
    assert level(np.array(up)).apply([0.0, 0.0, 1.0]) == pytest.approx(up, abs=1e-9)


@pytest.mark.parametrize("up", [(0.0, 1.0, 0.0), (0.034899497, 0.999390827, 0.0)])
def test_any_heading_of_the_earth_frame_is_taken_out(up: tuple[float, float, float]) -> None:
    up_in_base = np.array(up)
    true = Rotation.from_euler("YXY", [[30.0, -80.0, 10.0], [0.0, 0.0, 0.0]], degrees=True)
    for turned_deg in (-170.0, -20.0, 0.0, 95.0, 180.0):
        turned = Rotation.from_rotvec(np.deg2rad(turned_deg) * up_in_base)
        earth = level(up_in_base).inv() * turned * true
        heading = twist((level(up_in_base) * earth).as_quat(), up_in_base)[1]

        found = Rotation.from_quat(into_base(earth.as_quat(), np.full(2, heading), up_in_base))

        assert (found.inv() * true).magnitude() == pytest.approx(0.0, abs=1e-9)


# --- rests ---------------------------------------------------------------------------------


def stretches(*parts: tuple[float, float, float]) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return tilt (n,), rate (n, 3) and known from (seconds, tilt_deg, rate_deg_s)."""
    size = [int(seconds * FS_HZ) for seconds, _, _ in parts]
    tilt = np.repeat(np.deg2rad([part[1] for part in parts]), size)
    rate = np.zeros((len(tilt), 3))
    rate[:, 0] = np.repeat(np.deg2rad([part[2] for part in parts]), size)
    return tilt, rate, np.ones(len(tilt), dtype=np.bool_)


def rests(*parts: tuple[float, float, float]) -> NDArray[np.bool_]:
    tilt, rate, known = stretches(*parts)
    return home_rests(tilt, rate, known, FS_HZ, TOLERANCE, DEFAULTS)


def test_a_pause_at_the_top_is_no_rest_at_home() -> None:
    found = rests((2.0, 0.5, 0.1), (3.0, 60.0, 40.0), (10.0, 150.0, 0.0), (3.0, 60.0, 40.0))

    assert found[:180].all()
    assert not found[200:].any()


def test_a_pause_low_on_the_way_is_no_rest_at_home() -> None:
    assert not rests((1.0, 3.0, 20.0), (5.0, 8.0, 0.0), (1.0, 3.0, 20.0)).any()


def test_passing_home_without_stopping_is_no_rest() -> None:
    assert not rests((1.0, 30.0, 40.0), (0.3, 1.0, 0.5), (1.0, 30.0, 40.0)).any()


def test_a_rest_that_was_not_heard_is_none() -> None:
    tilt, rate, known = stretches((4.0, 0.0, 0.0))
    known[100:] = False

    found = home_rests(tilt, rate, known, FS_HZ, TOLERANCE, DEFAULTS)

    assert found.sum() == 100


def test_the_heading_is_linear_between_rests_and_held_outside() -> None:
    at_home = np.zeros(1000, dtype=np.bool_)
    at_home[100:200] = at_home[800:900] = True
    drift = np.deg2rad(178.0) + np.deg2rad(4.0) * np.arange(1000) / 1000  # through ±180°
    wrapped = np.angle(np.exp(1j * drift))

    heading = heading_of(at_home, wrapped, FS_HZ)

    error = np.angle(np.exp(1j * (heading.turned_rad - drift)))
    assert np.abs(error[135:865]).max() < np.deg2rad(0.01)
    assert heading.turned_rad[0] == heading.turned_rad[90]
    assert heading.age_s[[150, 500, 999]] == pytest.approx([0.0, 3.0, 1.0], abs=0.02)
    assert np.rad2deg(heading.drift_rad) == pytest.approx(2.6, abs=0.1)
    assert heading.turns == ()


def test_a_heading_that_changes_more_than_a_gyroscope_drifts_is_a_turn_of_the_rig() -> None:
    at_home = np.zeros(1500, dtype=np.bool_)
    at_home[100:200] = at_home[800:900] = at_home[1300:1400] = True
    heading = heading_of(
        at_home, np.deg2rad(np.where(np.arange(1500) < 1000, 179.0, -177.0)), FS_HZ
    )

    (turn,) = heading.turns
    assert np.rad2deg(turn.by_rad) == pytest.approx(4.0)
    assert 850 <= turn.start < 900
    assert 1300 <= turn.stop < 1350


def test_without_a_rest_the_heading_is_infinitely_old() -> None:
    heading = heading_of(np.zeros(10, dtype=np.bool_), np.zeros(10), FS_HZ)

    assert np.isinf(heading.age_s).all()


def test_the_bias_of_a_bad_gyro_shows_while_the_arm_hangs() -> None:
    rng = np.random.default_rng(5)
    bias = np.deg2rad([6.0, -4.0, 9.0])
    rate = bias + rng.normal(0.0, 0.002, (1500, 3))
    rate[600:1000] += 0.5
    force = np.tile([0.0, GRAVITY, 0.0], (1500, 1)) + rng.normal(0.0, 0.03, (1500, 3))
    known = np.ones(1500, dtype=np.bool_)

    found = still_rate(rate, force, known, UP, TOLERANCE, FS_HZ)
    raised = still_rate(rate, force[:, [1, 0, 2]], known, UP, TOLERANCE, FS_HZ)

    assert found == pytest.approx(bias, abs=np.deg2rad(0.05))
    assert raised.tolist() == [0.0, 0.0, 0.0]
