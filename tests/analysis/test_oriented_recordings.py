"""Whole recordings of the inertial unit: bias, gaps, slopes, pauses that are no rests at home."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.errors import NotAnalysable
from analysis.inertial import block_means
from analysis.orientation import Orientation, orient
from analysis.pose import distal_axis, elevation, plane_of_elevation
from analysis.settings import AnalysisSettings
from analysis.timebase import Grid
from analysis.turns import Turns

Floats = NDArray[np.float64]
DEFAULTS = AnalysisSettings()
UP = np.array([0.0, 1.0, 0.0])
TOLERANCE = np.deg2rad(5.0)
FS_HZ = 100.0
GRAVITY = 9.80665


def distal_of(found: Orientation) -> Floats:
    return distal_axis(Turns(found.humerus_to_base))


Samples = tuple[Grid, Floats]


def lifted(
    seconds: float,
    up_in_base: Floats = UP,
    bias_deg_s: float = 0.3,
    imu_rate_hz: float | None = None,
    fs_hz: float = FS_HZ,
    noise: float = 1.0,
    raised: Callable[[Floats], Floats] | None = None,
) -> Samples:
    """A lift to 120° every 12 s, hanging in between, or another elevation; nobody at the cell.

    The sensors sit at the centre of rotation.
    """
    time_s = np.arange(0.0, seconds, 1 / fs_hz)
    axis = np.array([-0.8660254, 0.0, 0.5])
    angle = (raised or true_elevation)(time_s)[:, np.newaxis]
    poses = Rotation.from_rotvec(angle * axis)
    rng = np.random.default_rng(8)
    force = poses.inv().apply(GRAVITY * up_in_base) + noise * rng.normal(
        0.0, 0.02, (len(time_s), 3)
    )
    rate = np.gradient(angle, 1 / fs_hz, axis=0) * axis + np.deg2rad(bias_deg_s)
    rate += noise * rng.normal(0.0, 0.001, (len(time_s), 3))
    known = np.ones(len(time_s), dtype=np.bool_)
    grid = Grid(
        fs_hz=fs_hz,
        time_s=time_s,
        origin_us=0.0,
        force_known=known,
        imu_known=known,
        missing=~known,
        saturated=~known,
        imu_rate_hz=imu_rate_hz or fs_hz,
        spikes_removed=0,
    )
    return grid, np.hstack([force, rate])


def true_elevation(time_s: Floats) -> Floats:
    phase = np.clip((np.mod(time_s, 12.0) - 3.0) / 7.0, 0.0, 1.0)
    return np.asarray(np.deg2rad(60.0) * (1.0 - np.cos(2 * np.pi * phase)))


def worst_deg(found: Floats, true: Floats) -> float:
    return float(np.rad2deg(np.nanmax(np.abs(found - true))))


@pytest.mark.parametrize("bias_deg_s", [0.0, 1.0, 8.0])
def test_elevation_and_plane_are_found_whatever_the_gyros_bias(bias_deg_s: float) -> None:
    samples = lifted(60.0, bias_deg_s=bias_deg_s)

    found = orient(*samples, UP, TOLERANCE, DEFAULTS)

    raised = true_elevation(samples[0].time_s) > np.deg2rad(20.0)
    plane = plane_of_elevation(distal_of(found), np.deg2rad(20.0))[raised]
    assert (
        worst_deg(
            elevation(distal_of(found)),
            true_elevation(samples[0].time_s),
        )
        < 1.0
    )
    assert worst_deg(plane, np.full(raised.sum(), np.deg2rad(30.0))) < 1.0
    assert np.rad2deg(found.gyro_bias_rad_s) == pytest.approx([bias_deg_s] * 3, abs=0.05)
    assert np.isfinite(found.heading_age_s).all()


def test_a_slower_inertial_unit_is_filtered_at_its_own_rate() -> None:
    """Means of three rows go through the filter; the rows between are blended."""
    samples = lifted(41.23)
    slow = lifted(41.23, imu_rate_hz=FS_HZ / 3.2)

    whole, thinned = (orient(*given, UP, TOLERANCE, DEFAULTS) for given in (samples, slow))

    first, second = (Rotation.from_quat(found.humerus_to_base) for found in (whole, thinned))
    assert np.rad2deg((first.inv() * second).magnitude().max()) < 0.5
    assert slow[1][:, 3:] == pytest.approx(samples[1][:, 3:], abs=2e-3)


def test_means_keep_the_angle_turned_and_the_last_rows() -> None:
    rows = np.arange(22.0).reshape(11, 2)

    means = block_means(rows, 4)

    assert means.tolist() == [[3.0, 4.0], [11.0, 12.0], [18.0, 19.0]]
    assert block_means(rows, 1) is rows


def test_a_fast_inertial_unit_is_turned_as_far_as_scipy_turns_it() -> None:
    """At 1 kHz means of five rows go through the filter: against the closed form, row by row."""
    found = orient(*lifted(30.0, fs_hz=1000.0, noise=0.0, bias_deg_s=0.0), UP, TOLERANCE, DEFAULTS)

    true = true_elevation(np.arange(0.0, 30.0, 1e-3))
    assert worst_deg(elevation(distal_of(found)), true) < 0.2


def test_a_base_that_is_not_level_is_taken_into_account() -> None:
    sloping = np.array([np.sin(np.deg2rad(8.0)), np.cos(np.deg2rad(8.0)), 0.0])
    samples = lifted(40.0, up_in_base=sloping)

    told = orient(*samples, sloping, TOLERANCE, DEFAULTS)

    assert (
        worst_deg(
            elevation(distal_of(told)),
            true_elevation(samples[0].time_s),
        )
        < 1.0
    )
    assert np.rad2deg(told.home_tilt_rad) < 0.5
    with pytest.raises(NotAnalysable, match="never rests at home"):
        orient(*samples, UP, TOLERANCE, DEFAULTS)  # 8° off is no home: better nothing than wrong


def unheard(samples: Samples, first_s: float, last_s: float) -> Samples:
    grid, moved = samples
    known = grid.imu_known & ((grid.time_s < first_s) | (grid.time_s > last_s))
    garbage = np.where(known[:, np.newaxis], moved, [GRAVITY, 0.0, 0.0, 0.0, 0.0, 0.0])
    return dataclasses.replace(grid, imu_known=known, missing=~known), garbage


def test_behind_a_long_gap_the_heading_waits_for_the_next_rest() -> None:
    """From 5.5 s to 7.5 s, half-way up: what follows is a stretch of its own."""
    samples = unheard(lifted(36.0), 5.5, 7.5)

    found = orient(*samples, UP, TOLERANCE, DEFAULTS)

    assert not found.known[560:740].any()
    assert np.isfinite(found.heading_age_s[:550]).all()
    late = samples[0].time_s > 7.6
    # The rest at 10 s fixes the stretch backward too.
    assert np.isfinite(found.heading_age_s[late]).all()
    assert (
        worst_deg(
            elevation(distal_of(found))[late],
            true_elevation(samples[0].time_s)[late],
        )
        < 2.0
    )


def test_a_stretch_without_a_rest_has_an_elevation_but_no_heading() -> None:
    samples = unheard(unheard(lifted(36.0), 4.5, 5.5), 8.5, 9.0)

    found = orient(*samples, UP, TOLERANCE, DEFAULTS)

    between = slice(560, 845)
    assert found.known[between].all()
    assert np.isinf(found.heading_age_s[between]).all()
    error = elevation(distal_of(found))[between] - true_elevation(samples[0].time_s)[between]
    assert np.rad2deg(np.sqrt(np.mean(error**2))) < 3.0


def test_a_rig_may_be_told_to_take_much_for_home() -> None:
    sloping = np.array([np.sin(np.deg2rad(23.0)), np.cos(np.deg2rad(23.0)), 0.0])
    samples = lifted(40.0, up_in_base=sloping)

    found = orient(*samples, UP, np.deg2rad(30.0), DEFAULTS)

    assert np.rad2deg(found.home_tilt_rad) == pytest.approx(23.0, abs=0.5)
    assert np.rad2deg(found.home_scatter_rad) < 0.3
    assert found.bumps == ()


def test_an_arm_that_never_rests_cannot_be_analysed() -> None:
    grid, moved = lifted(30.0)
    moved[:, :3] = np.roll(moved[:, :3], 1, axis=1)

    with pytest.raises(NotAnalysable, match="never rests at home"):
        orient(grid, moved, UP, TOLERANCE, DEFAULTS)


# --- pauses --------------------------------------------------------------------------------


def way(*corners: tuple[float, float]) -> Callable[[Floats], Floats]:
    """Return an elevation that goes from corner to corner (seconds, degrees), smoothly."""
    at_s, deg = np.array(corners).T

    def raised(time_s: Floats) -> Floats:
        begun = np.clip(np.searchsorted(at_s, time_s, side="right") - 1, 0, len(at_s) - 2)
        share = np.clip((time_s - at_s[begun]) / np.diff(at_s)[begun], 0.0, 1.0)
        share = (1.0 - np.cos(np.pi * share)) / 2.0
        return np.asarray(np.deg2rad(deg[begun] + np.diff(deg)[begun] * share))

    return raised


LIFT_S = 26.0


def lift(begin_s: float, *, pause_deg: float, end_deg: float = 0.0) -> list[tuple[float, float]]:
    """Return the corners of a lift with a pause of 2 s on the way up and down, from 0 or not."""
    steps = [(2.0, pause_deg), (4.0, pause_deg), (8.0, 120.0), (12.0, 120.0), (16.0, pause_deg)]
    steps += [(18.0, pause_deg), (20.0, end_deg), (LIFT_S, end_deg)]
    return [(begin_s + seconds, deg) for seconds, deg in steps]


@pytest.mark.parametrize("pause_deg", [4.0, 8.0, 15.0, 19.0])
def test_pauses_with_hands_off_on_the_way_and_at_the_top_are_no_bumps(pause_deg: float) -> None:
    corners = [(0.0, 0.0), (3.0, 0.0)]
    for number in range(4):
        corners += lift(3.0 + LIFT_S * number, pause_deg=pause_deg)
    raised = way(*corners)
    samples = lifted(3.0 + 4 * LIFT_S, raised=raised)

    found = orient(*samples, UP, TOLERANCE, DEFAULTS)

    assert found.bumps == ()
    assert found.doubts == ()
    assert worst_deg(elevation(distal_of(found)), raised(samples[0].time_s)) < 1.0


def test_an_arm_left_short_of_home_once_is_no_bump() -> None:
    corners = [(0.0, 0.0), (3.0, 0.0)]
    for number, end_deg in enumerate((0.0, 9.0, 0.0, 0.0)):
        corners += lift(3.0 + LIFT_S * number, pause_deg=15.0, end_deg=end_deg)
    raised = way(*corners)
    samples = lifted(3.0 + 4 * LIFT_S, raised=raised)

    found = orient(*samples, UP, TOLERANCE, DEFAULTS)

    assert found.bumps == ()
    assert found.doubts == ()
    assert worst_deg(elevation(distal_of(found)), raised(samples[0].time_s)) < 1.0


def test_an_arm_left_short_of_home_twice_alike_is_doubted_but_levels_nothing() -> None:
    corners = [(0.0, 0.0), (3.0, 0.0)]
    for number, end_deg in enumerate((0.0, 9.0, 9.0, 0.0)):
        corners += lift(3.0 + LIFT_S * number, pause_deg=15.0, end_deg=end_deg)
    raised = way(*corners)
    samples = lifted(3.0 + 4 * LIFT_S, raised=raised)

    found = orient(*samples, UP, TOLERANCE, DEFAULTS)

    assert found.bumps == ()
    (doubt,) = found.doubts
    assert np.rad2deg(doubt.away_rad) == pytest.approx(9.0, abs=0.3)
    # From where it leaves home for the second time until it is home again.
    assert samples[0].time_s[doubt.start] == pytest.approx(3.0 + LIFT_S, abs=0.7)
    assert samples[0].time_s[doubt.stop - 1] == pytest.approx(3.0 + 3 * LIFT_S + 20.0, abs=0.7)
    assert worst_deg(elevation(distal_of(found)), raised(samples[0].time_s)) < 1.0
