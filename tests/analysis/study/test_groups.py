"""Groups between people, conditions within them."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.comparison.effect_sizes import difference
from analysis.study.groups import (
    LAST_PRACTICE,
    between_conditions,
    between_groups,
    group_values,
)
from analysis.study.learning import LAST, Tried
from analysis.tidy.practice import BASELINE, PRACTICE, RETENTION, TRANSFER


def learner(rng: np.random.Generator, lost: float = 0.0) -> list[Tried]:
    """Thirty-six repetitions of learning, then a test where nothing but *lost* is lost."""
    ability, gain = 2.0 * rng.normal(), rng.uniform(5.0, 15.0)
    last = ability + gain * np.exp(-3.6)
    tried = [
        Tried(PRACTICE, 1, k, ability + gain * float(np.exp(-k / 10)) + rng.normal())
        for k in range(1, 37)
    ]
    return tried + [Tried(RETENTION, 2, 36, last + lost + rng.normal()) for _ in range(3)]


def test_a_person_counts_once_however_often_they_tried() -> None:
    values = [("E01", "E", 1.0)] * 50 + [("E02", "E", 3.0)] + [("T01", "T", 9.0), ("T02", "T", 5.0)]

    (found,) = between_groups(values)

    assert (found.first, found.second, found.people) == ("E", "T", (2, 2))
    assert found.means == (2.0, 7.0)
    assert found.difference == difference([1.0, 3.0], [9.0, 5.0])


def test_where_nothing_is_lost_since_the_last_practice_hardly_any_study_tells_a_loss() -> None:
    rng = np.random.default_rng(0)
    told = []
    for _ in range(200):
        (found,) = between_conditions({f"T{who}": learner(rng) for who in range(8)})
        assert (found.first, found.second, found.within) == (LAST_PRACTICE, RETENTION, True)
        assert found.difference is not None
        told.append(found.difference.mean.excludes_zero)
        assert found.p is not None
        assert (found.p < 0.05) == told[-1]

    assert np.mean(told) < 0.1


def test_what_is_lost_is_seen_within_people_though_they_differ_more() -> None:
    rng = np.random.default_rng(1)

    (found,) = between_conditions({f"T{who}": learner(rng, lost=2.0) for who in range(8)})

    assert found.difference is not None
    assert found.difference.mean.value == pytest.approx(2.0, abs=0.8)
    assert found.difference.mean.low > 0.0


def test_each_test_has_its_own_people_and_practice_its_test_before() -> None:
    def tried(base: float, last: float, **tests: float) -> list[Tried]:
        own = [Tried(BASELINE, 1, 0, base), *[Tried(PRACTICE, 1, n, last) for n in range(LAST)]]
        return own + [Tried(role, 2, LAST, value) for role, value in tests.items()]

    people = {
        "T01": tried(9.0, 4.0, retention=5.0, transfer=8.0),
        "T02": tried(8.0, 2.0, retention=float("nan"), transfer=9.0),
        "T03": tried(5.0, 2.0),
    }

    found = {(one.first, one.second): one for one in between_conditions(people)}

    assert found[BASELINE, LAST_PRACTICE].people == (3, 3)
    assert found[BASELINE, LAST_PRACTICE].means == pytest.approx((22 / 3, 8 / 3))
    assert found[LAST_PRACTICE, RETENTION].people == (1, 1)
    assert found[LAST_PRACTICE, TRANSFER].means == (3.0, 8.5)
    assert "at least 2 are needed" in found[LAST_PRACTICE, RETENTION].reason


def test_groups_are_compared_where_practice_led_to_and_in_the_tests() -> None:
    people = {
        "T01": [Tried(PRACTICE, 1, n, float(n)) for n in range(1, 11)],
        "T02": [Tried(PRACTICE, 1, 1, 3.0), Tried(RETENTION, 2, 1, 7.0)],
    }

    found = group_values(people, {"T01": "a", "T02": "b"})

    assert found[LAST_PRACTICE] == [
        *[("T01", "a", float(n)) for n in range(6, 11)], ("T02", "b", 3.0)
    ]  # fmt: skip
    assert found[RETENTION] == [("T02", "b", 7.0)]
    assert found[TRANSFER] == []


def test_what_cannot_be_told_has_its_reason_and_unknown_values_are_left_out() -> None:
    (found,) = between_groups([("E01", "E", 1.0), ("T01", "T", 2.0), ("T01", "T", float("nan"))])

    assert found.difference is None
    assert found.p is None
    assert found.means == (1.0, 2.0)
    assert "at least 2 are needed" in found.reason
