"""Angles of a push against hand-worked numbers, and when a hand counts as on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.resolve import ContactState, contact, push_angles, target_map
from analysis.settings import AnalysisSettings
from analysis.target import Target

Floats = NDArray[np.float64]
LEVEL = Target(inferior_tilt_deg=0.0).direction
TILTED = Target(inferior_tilt_deg=5.0).direction
DEFAULTS = AnalysisSettings()
FS_HZ = 1000.0


@pytest.mark.parametrize(
    ("force_n", "target", "off_axis_deg", "glide_n", "azimuth_deg", "superior_deg"),
    [
        ((-40.0, 0.0, 0.0), LEVEL, 30.0, 34.6410161514, 0.0, 0.0),
        ((-34.6410161514, 0.0, 20.0), LEVEL, 0.0, 40.0, 30.0, 0.0),
        ((-34.6410161514, 0.0, 20.0), TILTED, 5.0, 39.8477879237, 30.0, 0.0),
        ((-30.0, 5.0, 20.0), LEVEL, 8.7099684889, 35.9807621135, 33.6900675260, 7.8951421058),
        ((-30.0, 5.0, 20.0), TILTED, 13.4102569711, 35.4080657371, 33.6900675260, 7.8951421058),
        ((-35.0, -3.0, 18.0), TILTED, 2.8476907297, 39.4227665593, 27.2161115573, -4.3589227844),
    ],
)
def test_a_push_has_the_angles_worked_out_by_hand(
    force_n: tuple[float, float, float],
    target: Floats,
    off_axis_deg: float,
    glide_n: float,
    azimuth_deg: float,
    superior_deg: float,
) -> None:
    """Recomputed from the definitions, tolerance that of the printed digits."""
    angles = push_angles(np.array([force_n]), target)

    assert np.rad2deg(angles.off_axis_rad[0]) == pytest.approx(off_axis_deg, abs=1e-8)
    assert angles.glide_n[0] == pytest.approx(glide_n, abs=1e-9)
    assert np.rad2deg(angles.azimuth_rad[0]) == pytest.approx(azimuth_deg, abs=1e-8)
    assert np.rad2deg(angles.superior_angle_rad[0]) == pytest.approx(superior_deg, abs=1e-8)


def test_tiny_angles_off_the_target_are_seen() -> None:
    """At 10⁻⁹ rad the arccos of the dot product says 0."""
    sideways = np.cross(LEVEL, [0.0, 1.0, 0.0])

    angles = push_angles(np.array([40.0 * (LEVEL + 1e-9 * sideways)]), LEVEL)

    assert angles.off_axis_rad[0] == pytest.approx(1e-9, rel=1e-6)


def test_the_map_has_the_target_in_the_middle_and_true_distances() -> None:
    push = np.array([[-30.0, 5.0, 20.0], [-35.0, -3.0, 18.0], [30.0, 2.0, 5.0]])

    where = target_map(np.vstack([TILTED * 33.0, push]), TILTED)

    assert where[0] == pytest.approx([0.0, 0.0], abs=1e-9)
    off_axis = push_angles(push, TILTED).off_axis_rad
    assert np.linalg.norm(where[1:], axis=1) == pytest.approx(off_axis)


def test_the_map_has_lateral_to_the_right_and_superior_up() -> None:
    lateral = Target(glide_azimuth_deg=33.0).direction
    superior = Target(inferior_tilt_deg=2.0).direction

    where = np.rad2deg(target_map(np.array([lateral, superior]), TILTED))

    assert where[0] == pytest.approx([3.0 * np.cos(np.deg2rad(5.0)), 0.0], abs=0.01)
    assert where[1] == pytest.approx([0.0, 3.0], abs=1e-9)


def pushes(*stretches: tuple[float, int]) -> Floats:
    return np.concatenate([np.full(count, size) for size, count in stretches])


def test_contact_begins_at_the_upper_and_ends_below_the_lower_threshold() -> None:
    size = pushes((0.0, 10), (4.0, 10), (5.0, 10), (3.0, 10), (2.9, 10), (4.9, 10))

    on, after = contact(size, FS_HZ, DEFAULTS, ContactState())

    np.testing.assert_array_equal(np.flatnonzero(on), np.arange(20, 40))
    assert not after.on


def test_a_push_unknown_for_long_is_no_contact() -> None:
    """0.1 s of it may be: then the hand has to show itself anew."""
    size = pushes((20.0, 50), (np.nan, 300), (4.0, 50), (20.0, 50))

    on, _ = contact(size, FS_HZ, DEFAULTS, ContactState())

    np.testing.assert_array_equal(
        np.flatnonzero(on), np.concatenate([np.arange(150), np.arange(400, 450)])
    )


@given(
    size=st.lists(
        st.sampled_from([0.0, 2.9, 3.0, 4.0, 5.0, 30.0, np.nan]), min_size=1, max_size=60
    ),
    cut=st.integers(0, 60),
)
def test_contact_does_not_depend_on_where_blocks_are_cut(size: list[float], cut: int) -> None:
    settings = AnalysisSettings(contact_gap_s=0.004)
    whole, after = contact(np.array(size), FS_HZ, settings, ContactState())

    first, between = contact(np.array(size[:cut]), FS_HZ, settings, ContactState())
    second, end = contact(np.array(size[cut:]), FS_HZ, settings, between)

    np.testing.assert_array_equal(np.concatenate([first, second]), whole)
    assert end == after
