from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.comparison.change import Basis
from analysis.comparison.comparison import compare
from analysis.comparison.curve_test import CurveTest, Method
from analysis.comparison.performance import Performance, performance_of
from analysis.errors import NotComparable
from analysis.reference.evidence import RecordingEvidence
from analysis.reference.model import Reference

Floats = NDArray[np.float64]
Make = Callable[..., Performance]
Repetitions = Callable[..., Floats]

pytest.importorskip("spm1d")


def test_one_trainee_stands_beside_the_experts_measure_by_measure(
    reference: Reference, performance: Make, repetitions: Repetitions
) -> None:
    after = performance([repetitions(np.random.default_rng(2), 6, offset=8.0)])

    found = compare(after, reference=reference)

    assert found.measures is not None
    for one in found.measures:
        assert one.case is not None
        assert one.case.count == 6
        assert one.case.sds.low > 0.0
        assert one.groups is None
        assert one.mean is not None
        assert one.experts_mean is not None
        assert one.mean - one.experts_mean == pytest.approx(8.0, abs=2.0)
    assert found.changes is None
    (family,) = found.families
    assert family.tests == ()
    assert "one person is no sample of people" in family.reason


def test_two_occasions_of_one_person_are_compared_by_repetitions_and_along_the_arc(
    performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(3)
    before, after = (
        performance([repetitions(rng, 8, offset)], day=day) for day, offset in ((1, 0.0), (2, 6.0))
    )

    found = compare(after, before=before)

    assert found.changes is not None
    assert found.changes.basis is Basis.OCCASIONS
    for change in found.changes.measures:
        assert change.difference is None  # nothing is known of the person on other days
        assert change.on_occasions is not None
        assert change.on_occasions.counts == (8, 8)
        assert change.on_occasions.mean.value == pytest.approx(6.0, abs=1.5)
        assert change.on_occasions.standardised.excludes_zero
    (family,) = found.families
    assert "not for the person" in family.rows
    assert len(family.tests) == 8
    for test in family.tests:
        assert isinstance(test.result, CurveTest)
        assert test.result.alpha == pytest.approx(0.05 / 8)
        (cluster,) = test.result.clusters
        assert cluster.higher


def test_several_people_are_paired_with_themselves(
    performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(4)
    offsets = 5.0 * rng.normal(size=6)
    before = performance([repetitions(rng, 4, offset) for offset in offsets])
    after = performance([repetitions(rng, 4, offset + 4.0) for offset in offsets], day=9)

    found = compare(after, before=before)

    assert found.changes is not None
    assert found.changes.basis is Basis.PEOPLE
    assert found.changes.measures[0].difference is not None
    assert found.changes.measures[0].difference.counts == (6, 6)
    result = found.families[0].tests[0].result
    assert isinstance(result, CurveTest)
    assert result.paired


def test_a_class_is_held_against_the_experts_person_by_person(
    reference: Reference, performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(5)
    after = performance([repetitions(rng, 3, offset) for offset in 9.0 + rng.normal(size=7)])

    found = compare(after, reference=reference)

    assert found.measures is not None
    assert found.measures[0].groups is not None
    assert found.measures[0].groups.counts == (6, 7)
    result = found.families[0].tests[0].result
    assert isinstance(result, CurveTest)
    assert result.counts == (6, 7)
    assert result.clusters


def test_too_few_people_give_a_reason_instead_of_a_test(
    reference: Reference, performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(6)
    after = performance([repetitions(rng, 6) for _ in range(3)])

    (family,) = compare(after, reference=reference).families

    assert family.tests == ()
    assert family.reason == "too few curves (3): at least 5 of each set are needed"


def test_different_people_before_and_after_are_not_compared_as_one(
    performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(7)
    before, after = (performance({who: repetitions(rng, 6)}) for who in ("T01", "T02"))

    found = compare(after, before=before)

    assert found.families[0].reason == "before and after are of different people"
    assert found.changes is not None
    assert {change.reason for change in found.changes.measures} == {
        "before and after are of different people"
    }


def test_permutations_give_the_same_with_the_same_seed(
    performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(8)
    before, after = (
        performance([repetitions(rng, 8, offset)], day=day) for day, offset in ((1, 0.0), (2, 6.0))
    )

    one, other = (
        compare(after, before=before, method=Method.PERMUTATION, seed=4).families for _ in "ab"
    )

    thresholds = [
        [test.result.threshold for test in family[0].tests if isinstance(test.result, CurveTest)]
        for family in (one, other)
    ]
    assert thresholds[0] == thresholds[1]
    assert len(thresholds[0]) == 8


def test_with_nothing_to_compare_with_there_is_no_comparison(
    performance: Make, repetitions: Repetitions
) -> None:
    with pytest.raises(NotComparable, match="name a reference, or what was before"):
        compare(performance([repetitions(np.random.default_rng(9), 5)]))


def test_recordings_without_a_finished_repetition_are_named(
    recording: Callable[..., RecordingEvidence], repetitions: Repetitions
) -> None:
    empty = recording("T01", repetitions(np.random.default_rng(1), 2)[:0], file="short.h5")

    with pytest.raises(NotComparable, match=r"short\.h5: no finished repetition"):
        performance_of([empty])
    with pytest.raises(NotComparable, match="no recording: no finished"):
        performance_of([])
