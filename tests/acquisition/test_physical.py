"""Counts to physical units against numbers worked out by hand.

The mirror rule of a left shoulder is that of Wu et al. 2005 (J Biomech 38:981): mirror in the
sagittal plane first, z → −z. In matrix form S·R·S with S = diag(1, 1, −1).
"""

from __future__ import annotations

from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition.physical import (
    PhysicalUnits,
    at_rails,
    mirror_if_left,
    right_shoulder_geometry,
)
from acquisition.rig import RigDescription
from firmware_protocol.messages import StreamSpec

S = np.diag([1.0, 1.0, -1.0])
# Ry(30)·Rx(−60)·Ry(−45) in degrees, the ISB sequence Y-X'-Y'' of the humerus.
R_30_60_45 = np.array(
    [
        [0.7891491310, -0.4330127019, -0.4355957404],
        [0.6123724357, 0.5, 0.6123724357],
        [-0.0473671727, -0.75, 0.6597396084],
    ]
)
QUARTER_TURN_ABOUT_Y = ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0))  # z becomes x


def changed(rig: RigDescription, /, **tables: dict[str, Any]) -> RigDescription:
    plain: dict[str, Any] = msgspec.to_builtins(rig)
    for name, values in tables.items():
        plain[name] |= values
    return msgspec.convert(plain, RigDescription)


def rows(matrix: Any) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(map(float, row)) for row in matrix)


def test_a_wrench_is_calibration_times_counts_less_zero(
    rig: RigDescription, force_spec: StreamSpec
) -> None:
    """0.01 N per count, 2 % of x in y: (1000−200)·0.01 = 8 N, (50·0.01 + 0.02·8) N, −3 N."""
    cell = {
        "calibration_matrix": ((0.01, 0.0, 0.0), (0.0002, 0.01, 0.0), (0.0, 0.0, 0.01)),
        "zero_counts": (200.0, 50.0, 0.0),
    }
    counts = np.array([[1000, 100, -300]], dtype=np.int32)

    wrench = PhysicalUnits(changed(rig, cell=cell)).wrench(counts, force_spec)

    assert wrench.force_n == pytest.approx(np.array([[8.0, 0.66, -3.0]]))
    assert wrench.moment_nm is None
    assert not wrench.saturated.any()


def test_the_cell_s_mounting_turns_its_frame_into_the_humerus_frame(
    rig: RigDescription, force_spec: StreamSpec
) -> None:
    turned = changed(rig, cell={"to_humerus": QUARTER_TURN_ABOUT_Y})
    counts = np.array([[1, 2, 3]], dtype=np.int32)

    wrench = PhysicalUnits(turned).wrench(counts, force_spec)

    assert wrench.force_n.tolist() == [[3.0, 2.0, -1.0]]


def test_six_axes_give_moments_and_a_left_rig_mirrors_them_the_axial_way(
    rig: RigDescription, imu_spec: StreamSpec
) -> None:
    six: dict[str, Any] = {"axes": 6, "calibration_matrix": rows(np.diag([1, 1, 1, 2, 2, 2]))}
    counts = np.array([[1, 2, 3, 4, 5, 6]], dtype=np.int32)

    right = PhysicalUnits(changed(rig, cell=six)).wrench(counts, imu_spec)
    left = PhysicalUnits(changed(rig, cell=six, rig={"side": "left"})).wrench(counts, imu_spec)

    assert right.force_n.tolist() == [[1.0, 2.0, 3.0]]
    assert left.force_n.tolist() == [[1.0, 2.0, -3.0]]
    assert right.moment_nm is not None
    assert left.moment_nm is not None
    assert right.moment_nm.tolist() == [[8.0, 10.0, 12.0]]
    assert left.moment_nm.tolist() == [[-8.0, -10.0, 12.0]]


def test_inertial_counts_are_scaled_and_freed_of_their_offsets(
    rig: RigDescription, imu_spec: StreamSpec
) -> None:
    imu = {
        "scales": {"accel_m_s2": 0.005, "gyro_rad_s": 0.001},
        "accel_offset_m_s2": (0.1, 0.0, -0.2),
        "gyro_offset_rad_s": (0.0, 0.01, 0.0),
    }
    counts = np.array([[20, 1961, -40, 100, 10, -100]], dtype=np.int32)

    right = PhysicalUnits(changed(rig, imu=imu)).inertial(counts, imu_spec)
    left = PhysicalUnits(changed(rig, imu=imu, rig={"side": "left"})).inertial(counts, imu_spec)

    assert right.specific_force_m_s2 == pytest.approx(np.array([[0.0, 9.805, 0.0]]))
    assert right.angular_rate_rad_s == pytest.approx(np.array([[0.1, 0.0, -0.1]]))
    assert left.specific_force_m_s2 == pytest.approx(np.array([[0.0, 9.805, 0.0]]))
    assert left.angular_rate_rad_s == pytest.approx(np.array([[-0.1, 0.0, -0.1]]))


def test_mirroring_a_left_rig_is_s_r_s(rig: RigDescription, force_spec: StreamSpec) -> None:
    """A left rig mounted with R(30, −60, −45) is a right one mounted with R(−30, 60, 45)."""
    counts = np.array([[100, -200, 300], [7, 8, 9]], dtype=np.int32)
    mirrored = S @ R_30_60_45 @ S
    assert mirrored[0] == pytest.approx([0.7891491310, -0.4330127019, 0.4355957404])

    left = changed(rig, cell={"to_humerus": rows(R_30_60_45)}, rig={"side": "left"})
    right = changed(rig, cell={"to_humerus": rows(mirrored)})

    of_left = PhysicalUnits(left).wrench(counts, force_spec).force_n
    of_right = PhysicalUnits(right).wrench(counts @ S.astype(np.int32), force_spec).force_n
    assert of_left == pytest.approx(of_right, abs=1e-9)


@given(st.lists(st.floats(-100, 100), min_size=9, max_size=9))
def test_mirrored_moments_are_the_moments_of_mirrored_forces(numbers: list[float]) -> None:
    """r×F of the mirrored world is the mirrored r×F: that is what makes the axial rule right."""
    r, force, omega = np.array(numbers).reshape(3, 3)

    moment = mirror_if_left(np.cross(r, force), "left", axial=True)
    speed = mirror_if_left(np.cross(omega, r), "left")

    r_left, force_left = mirror_if_left(r, "left"), mirror_if_left(force, "left")
    omega_left = mirror_if_left(omega, "left", axial=True)
    assert moment == pytest.approx(np.cross(r_left, force_left), abs=1e-9)
    assert speed == pytest.approx(np.cross(omega_left, r_left), abs=1e-9)


def test_a_right_rig_is_left_as_it_is() -> None:
    vectors = np.array([[1.0, 2.0, 3.0]])

    assert mirror_if_left(vectors, "right") is vectors
    assert mirror_if_left(vectors, "right", axial=True) is vectors


@pytest.mark.parametrize(
    ("counts", "saturated"),
    [
        ([0, 0, 0], False),
        ([2**31 - 2, -(2**31) + 1, 0], False),
        ([2**31 - 1, 0, 0], True),
        ([0, 0, -(2**31)], True),
    ],
)
def test_a_count_at_a_rail_is_saturated(
    force_spec: StreamSpec, counts: list[int], saturated: bool
) -> None:
    assert at_rails(np.array([counts]), force_spec).tolist() == [saturated]


def test_saturation_is_flagged_not_clipped(rig: RigDescription, force_spec: StreamSpec) -> None:
    counts = np.array([[2**31 - 1, 5, 5]], dtype=np.int32)

    wrench = PhysicalUnits(rig).wrench(counts, force_spec)

    assert wrench.saturated.tolist() == [True]
    assert wrench.force_n[0, 0] == 2**31 - 1


def test_the_wrong_number_of_channels_is_refused(rig: RigDescription, imu_spec: StreamSpec) -> None:
    with pytest.raises(ValueError, match=r"'imu' has 6 channels, .* axes = 3"):
        PhysicalUnits(rig).wrench(np.zeros((1, 6), np.int32), imu_spec)


def test_geometry_of_a_left_rig_is_mirrored(rig: RigDescription) -> None:
    places: dict[str, Any] = {
        "imu": {"lever_m": (0.01, -0.2, 0.03)},
        "shell": {"com_m": (0.0, -0.02, 0.015)},
        "cell": {"origin_m": (0.0, 0.0, -0.01)},
        "head": {"centre_m": (0.0, 0.0, 0.002)},
        "home": {"vertical_in_base": (0.0, 0.6, 0.8)},
    }
    right = right_shoulder_geometry(changed(rig, **places))
    left = right_shoulder_geometry(changed(rig, **places, rig={"side": "left"}))

    for name in ("imu_m", "com_m", "cell_origin_m", "head_centre_m", "vertical_in_base"):
        assert getattr(left, name) == pytest.approx(S @ getattr(right, name))
    assert right.imu_m.tolist() == [0.01, -0.2, 0.03]
    assert (left.mass_kg, left.head_radius_m) == (0.32, 0.025)
