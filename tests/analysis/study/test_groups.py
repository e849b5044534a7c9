"""Groups between people, conditions within them."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.comparison.effect_sizes import difference, paired_difference
from analysis.study.groups import between_conditions, between_groups

RNG = np.random.default_rng(1)
ABILITY = {f"T{number:02}": float(value) for number, value in enumerate(RNG.normal(size=6) * 5)}


def test_a_person_counts_once_however_often_they_tried() -> None:
    values = [("E01", "E", 1.0)] * 50 + [("E02", "E", 3.0)] + [("T01", "T", 9.0), ("T02", "T", 5.0)]

    (found,) = between_groups(values)

    assert (found.first, found.second, found.people) == ("E", "T", (2, 2))
    assert found.means == (2.0, 7.0)
    assert found.difference == difference([1.0, 3.0], [9.0, 5.0])


def test_conditions_are_compared_within_people_and_see_what_people_hide() -> None:
    values = [
        (who, condition, level + shift + 0.1 * float(RNG.normal()))
        for who, level in ABILITY.items()
        for condition, shift in (("practice", 0.0), ("retention", 1.0))
        for _ in range(3)
    ]

    (found,) = between_conditions(values)

    assert found.within
    assert found.people == (6, 6)
    assert found.difference is not None
    assert found.difference.mean.value == pytest.approx(1.0, abs=0.2)
    assert found.difference.mean.excludes_zero
    (between,) = between_groups(values)
    assert between.difference is not None
    assert not between.difference.mean.excludes_zero


def test_only_who_had_both_conditions_counts() -> None:
    values = [("T01", "a", 1.0), ("T01", "b", 2.0), ("T02", "a", 5.0), ("T02", "b", 8.0),
              ("T03", "a", 99.0)]  # fmt: skip

    (found,) = between_conditions(values)

    assert found.means == (3.0, 5.0)
    assert found.difference == paired_difference([1.0, 5.0], [2.0, 8.0])


def test_what_cannot_be_told_has_its_reason_and_unknown_values_are_left_out() -> None:
    (found,) = between_groups([("E01", "E", 1.0), ("T01", "T", 2.0), ("T01", "T", float("nan"))])

    assert found.difference is None
    assert found.means == (1.0, 2.0)
    assert "at least 2 are needed" in found.reason
