"""Our arithmetic of rotations and vectors against scipy's and numpy's."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.turns import Turns, quaternion_product
from analysis.vectors import all_finite, angle_between, cross, dot, lengths

Floats = NDArray[np.float64]
MANY = 500


@given(
    arrays(np.float64, (7, 4), elements=st.floats(-10.0, 10.0)).filter(
        lambda q: bool((np.linalg.norm(q, axis=1) > 1e-3).all())
    ),
    arrays(np.float64, (7, 3), elements=st.floats(-100.0, 100.0)),
)
def test_vectors_are_turned_as_scipy_turns_them(quaternions: Floats, vectors: Floats) -> None:
    """Of any length, as scipy takes them."""
    theirs = Rotation.from_quat(quaternions)
    ours = Turns(quaternions)

    assert ours.undo(vectors) == pytest.approx(theirs.inv().apply(vectors), abs=1e-9)

    assert ours.apply(vectors) == pytest.approx(theirs.apply(vectors), abs=1e-12 * 100)
    assert ours.apply(vectors[0]) == pytest.approx(theirs.apply(vectors[0]), abs=1e-12 * 100)
    assert ours.image_of_y() == pytest.approx(theirs.apply([0.0, 1.0, 0.0]), abs=1e-12)


def test_quaternions_are_multiplied_as_scipy_multiplies_them() -> None:
    first, second = Rotation.random(MANY, random_state=1), Rotation.random(MANY, random_state=2)

    product = Rotation.from_quat(quaternion_product(first.as_quat(), second.as_quat()))
    by_one = Rotation.from_quat(quaternion_product(first.as_quat()[0], second.as_quat()))

    assert (product.inv() * (first * second)).magnitude() == pytest.approx(0.0, abs=1e-12)
    assert (by_one.inv() * (first[0] * second)).magnitude() == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("order", ["C", "F"])
def test_vector_arithmetic_is_that_of_numpy(order: str) -> None:
    rng = np.random.default_rng(3)
    first = np.asarray(rng.normal(size=(MANY, 3)), order=order)  # type: ignore[call-overload]  # either order
    second = rng.normal(size=(MANY, 3))

    assert cross(first, second) == pytest.approx(np.cross(first, second))
    assert cross(first, second[0]) == pytest.approx(np.cross(first, second[0]))
    assert cross(first[0], second[0]) == pytest.approx(np.cross(first[0], second[0]))
    assert dot(first, second) == pytest.approx(np.sum(first * second, axis=1))
    assert lengths(first) == pytest.approx(np.linalg.norm(first, axis=1))


def test_small_and_flat_angles_are_exact() -> None:
    """Where an arccos of a dot product returns 0 or π."""
    for angle in (0.0, 1e-9, 1e-4, np.pi / 2, np.pi - 1e-9, np.pi):
        turned = np.array([[np.cos(angle), np.sin(angle), 0.0]])

        assert angle_between(turned, np.array([1.0, 0.0, 0.0])) == pytest.approx([angle], abs=1e-15)


def test_one_number_missing_spoils_its_row() -> None:
    rows = np.ones((4, 3))
    rows[0, 0], rows[1, 2], rows[3, 1] = np.nan, np.inf, -np.inf

    assert all_finite(rows).tolist() == [False, False, True, False]
