"""Contact points on the head, against the worked cases of the soft-finger solution.

Bicchi, Salisbury & Brock 1993, Int J Robotics Res 12(3). The numbers follow from M = c×F + q·n.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.physical import Geometry
from analysis.contact import contact_point, head_contact_points, shift_moment

Floats = NDArray[np.float64]
RADIUS_M = 0.025
POINT_M = np.array([[0.0216506351, 0.0, -0.0125]])
PUSH_N = np.array([[-30.0, -4.0, 12.0]])


def test_a_point_contact_is_recovered() -> None:
    moment = np.cross(POINT_M, PUSH_N)
    assert moment[0] == pytest.approx([-0.05, 0.1151923789, -0.0866025404], abs=1e-9)

    assert contact_point(PUSH_N, moment, RADIUS_M) == pytest.approx(POINT_M, abs=1e-9)


def test_a_contact_that_also_twists_is_recovered() -> None:
    moment = np.array([[-0.0066987298, 0.1151923789, -0.1116025404]])

    assert contact_point(PUSH_N, moment, RADIUS_M) == pytest.approx(POINT_M, abs=1e-8)


def test_a_push_through_the_centre_touches_the_near_side() -> None:
    found = contact_point(np.array([[0.0, 0.0, -10.0]]), np.zeros((1, 3)), RADIUS_M)

    assert found[0] == pytest.approx([0.0, 0.0, RADIUS_M], abs=1e-15)


def test_moments_about_another_point_are_shifted_first() -> None:
    push = np.array([[25.0, -3.0, -14.0]])
    centre = np.array([0.0, 0.15, 0.0])
    point = RADIUS_M * np.array([[-2.0, 1.0, 1.0]]) / np.sqrt(6.0)
    about_cell = np.cross(centre + point, push)
    assert about_cell[0] == pytest.approx([-2.21226828, -0.03061862, -3.94391794], abs=1e-8)

    about_centre = shift_moment(about_cell, push, centre)

    assert about_centre[0] == pytest.approx([-0.11226828, -0.03061862, -0.19391794], abs=1e-8)
    assert contact_point(push, about_centre, RADIUS_M) == pytest.approx(point, abs=1e-12)


def test_any_contact_that_is_not_too_oblique_is_recovered() -> None:
    rng = np.random.default_rng(12)
    point = rng.standard_normal((1000, 3))
    point *= RADIUS_M / np.linalg.norm(point, axis=1, keepdims=True)
    push = 40.0 * rng.standard_normal((1000, 3))
    pressing = -np.sum(push * point, axis=1) / np.linalg.norm(push, axis=1) / RADIUS_M
    twist = rng.normal(0.0, 0.05, (1000, 1)) * point / RADIUS_M
    moment = np.cross(point, push) + twist

    found = contact_point(push, moment, RADIUS_M)

    firm = pressing > 0.55
    assert firm.sum() > 150
    assert found[firm] == pytest.approx(point[firm], abs=1e-7)
    assert np.isnan(found[(pressing > 0.0) & (pressing < 0.45)]).all()


def test_a_line_of_action_that_misses_the_head_has_no_contact() -> None:
    push = np.array([[0.0, 0.0, -10.0]])
    beside = np.cross(np.array([[0.04, 0.0, 0.0]]), push)

    assert np.isnan(contact_point(push, beside, RADIUS_M)).all()


@pytest.mark.parametrize("push", [[0.0, 0.0, 0.0], [np.nan, 1.0, 1.0]])
def test_no_push_and_an_unknown_one_have_no_contact(push: list[float]) -> None:
    assert np.isnan(contact_point(np.array([push]), np.zeros((1, 3)), RADIUS_M)).all()


def test_a_three_axis_cell_cannot_tell() -> None:
    geometry = Geometry(
        *(np.zeros(3),) * 4, head_radius_m=RADIUS_M, mass_kg=0.3, vertical_in_base=np.zeros(3)
    )

    assert head_contact_points(np.zeros((5, 3)), geometry) is None
