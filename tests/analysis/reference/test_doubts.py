"""Who stands apart: found by number, not hidden by another, and nobody of a group alike."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.reference.doubts import difference_from_others, standing_apart

Floats = NDArray[np.float64]
ROSNER = (
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58,
    1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15,
    2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21,
    3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
)  # fmt: skip
"""Rosner 1983, as worked out in the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.3."""


def test_a_published_example_has_its_three_outliers() -> None:
    found = standing_apart(np.array(ROSNER)[:, np.newaxis], 0.05)

    assert [ROSNER[one] for one in found] == [6.01, 5.42, 5.34]


def test_of_a_few_alike_somebody_is_named_hardly_more_often_than_chance_says() -> None:
    rng = np.random.default_rng(1)
    named = [bool(standing_apart(np.repeat(rng.normal(size=(k, 1)), 6, axis=1), 0.05))
             for k in (4, 5, 6, 8) for _ in range(400)]  # fmt: skip

    assert np.mean(named) == pytest.approx(0.08, abs=0.02)  # Rosner: near enough from 15 on


def test_curves_that_differ_along_the_arc_name_no_more(curves: Callable[..., Floats]) -> None:
    rng = np.random.default_rng(2)
    named = [bool(standing_apart(curves(rng, 5, 20, 0.2), 0.05)) for _ in range(400)]

    assert np.mean(named) < 0.05


def test_two_who_aim_alike_do_not_hide_each_other(curves: Callable[..., Floats]) -> None:
    means = curves(np.random.default_rng(3), 8, 20, 0.3)
    means[[2, 5]] += 30.0

    found = standing_apart(means, 0.05)

    assert set(found) == {2, 5}
    assert difference_from_others(means, 2, found) == pytest.approx(30.0, abs=2.0)


def test_the_only_one_that_differs_at_all_is_named() -> None:
    means = np.zeros((4, 3))
    assert standing_apart(means, 0.05) == ()

    means[3] = 1.0
    assert standing_apart(means, 0.05) == (3,)
