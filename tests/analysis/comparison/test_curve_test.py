"""The test along the arc, on the library's own data sets with their published results.

What the library shows for them stands in its documentation (threshold 3.295, p = 0.031 for the
arch angle) and was found again without it from the formulas of random field theory.
"""

from __future__ import annotations

import sys

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.comparison.curve_test import CurveTest, Method, NoTest, compare_curves

Floats = NDArray[np.float64]

spm1d = pytest.importorskip("spm1d")
NODES = np.arange(101.0)


def found(result: CurveTest | NoTest) -> CurveTest:
    assert isinstance(result, CurveTest), result
    return result


def smooth(rng: np.random.Generator, count: int, points: int = 40) -> Floats:
    kernel = np.exp(-0.5 * (np.arange(-12, 13) / 4.0) ** 2)
    noise = rng.normal(size=(count, points + 24))
    rows = [np.convolve(row, kernel / np.sqrt(np.sum(kernel**2)), mode="valid") for row in noise]
    return np.stack(rows)


def test_two_samples_give_the_published_threshold_and_cluster() -> None:
    one, two = spm1d.data.uv1d.t2.PlantarArchAngle().get_data()

    result = found(compare_curves(two, one, NODES))

    assert result.threshold == pytest.approx(3.29495, abs=1e-5)
    assert result.degrees == pytest.approx(17.99141, abs=1e-5)
    (cluster,) = result.clusters
    assert cluster.p == pytest.approx(0.031227, abs=1e-6)
    assert (cluster.from_deg, cluster.to_deg) == pytest.approx((93.27, 100.0), abs=0.01)
    assert cluster.higher


def test_pairs_give_the_published_threshold_and_cluster() -> None:
    one, two = spm1d.data.uv1d.tpaired.PlantarArchAngle().get_data()

    result = found(compare_curves(two, one, NODES, paired=True))

    assert result.threshold == pytest.approx(3.93947, abs=1e-5)
    assert result.width_deg == pytest.approx(20.37196, abs=1e-5)
    (cluster,) = result.clusters
    assert (cluster.from_deg, cluster.p) == pytest.approx((95.5661, 0.037295), abs=1e-4)


def test_several_clusters_stand_in_the_order_of_the_arc() -> None:
    one, two = spm1d.data.uv1d.t2.SimulatedTwoLocalMax().get_data()

    first, second = found(compare_curves(one, two, NODES)).clusters

    assert (first.from_deg, first.to_deg) == pytest.approx((22.96, 26.81), abs=0.3)
    assert (second.from_deg, second.to_deg) == pytest.approx((75.19, 76.79), abs=0.3)


def test_permutations_find_the_published_cluster_too() -> None:
    one, two = spm1d.data.uv1d.t2.PlantarArchAngle().get_data()

    result = found(compare_curves(two, one, NODES, method=Method.PERMUTATION))

    (cluster,) = result.clusters
    assert cluster.from_deg == pytest.approx(93.0, abs=2.0)
    assert cluster.p < 0.05
    assert result.degrees is None


def test_permutations_with_the_same_seed_give_the_same_and_leave_others_alone() -> None:
    one, two = spm1d.data.uv1d.t2.PlantarArchAngle().get_data()
    before = repr(np.random.get_state())  # noqa: NPY002 - what must not change

    results = [
        found(compare_curves(one, two, NODES, method=Method.PERMUTATION, seed=seed))
        for seed in (1, 1, 2)
    ]

    assert results[0].threshold == results[1].threshold != results[2].threshold
    assert repr(np.random.get_state()) == before  # noqa: NPY002 - likewise


@pytest.mark.parametrize("method", list(Method))
def test_equal_sets_are_called_different_as_seldom_as_meant(method: Method) -> None:
    """Nominal 5 % over the whole arc; a test at each point finds something in over 15 %."""
    rng = np.random.default_rng(5)
    trials = 60 if method is Method.PERMUTATION else 300
    at = np.arange(40.0)
    any_cluster = [
        bool(found(compare_curves(smooth(rng, 5), smooth(rng, 5), at, method=method)).clusters)
        for _ in range(trials)
    ]

    assert np.mean(any_cluster) < 0.05 + 3.0 * np.sqrt(0.05 * 0.95 / trials)


def test_the_place_is_told_in_degrees_of_elevation_and_the_direction_with_it() -> None:
    rng = np.random.default_rng(6)
    at: Floats = 2.5 + 5.0 * np.arange(40.0)
    one, two = smooth(rng, 8), smooth(rng, 8)
    two[:, 10:20] -= 8.0

    (cluster,) = found(compare_curves(one, two, at)).clusters

    assert cluster.from_deg == pytest.approx(at[10], abs=10.0)
    assert cluster.to_deg == pytest.approx(at[19], abs=10.0)
    assert not cluster.higher


def test_only_what_every_curve_has_is_tested() -> None:
    rng = np.random.default_rng(7)
    one, two = smooth(rng, 6), smooth(rng, 6)
    one[2, :8] = np.nan
    two[1, 35:] = np.nan

    result = found(compare_curves(one, two, np.arange(40.0)))

    assert (result.elevation_deg[0], result.elevation_deg[-1]) == (8.0, 34.0)
    assert len(result.t) == 27


def test_what_cannot_be_tested_is_refused_with_the_reason() -> None:
    rng = np.random.default_rng(8)
    at = np.arange(40.0)
    six, holes = smooth(rng, 6), smooth(rng, 6)
    holes[0, ::4] = np.nan

    for result, reason in (
        (compare_curves(six[:1], six, at), "too few curves (1): at least 5"),
        (compare_curves(six, six[:5], at, paired=True), "6 and 5 curves make no pairs"),
        (compare_curves(six, holes, at), "too little of the arc in common"),
        (compare_curves(six, np.ones_like(six), at), "do not differ at all"),
        (
            compare_curves(six[:5], six[:5] + 1, at, alpha=0.006, method=Method.PERMUTATION),
            "swapped in too few ways for a chance as small as 0.006",
        ),
    ):
        assert isinstance(result, NoTest)
        assert reason in result.reason


def test_without_the_library_there_is_a_reason_instead_of_a_test(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(9)
    monkeypatch.setitem(sys.modules, "spm1d", None)

    result = compare_curves(smooth(rng, 6), smooth(rng, 6), np.arange(40.0))

    assert result == NoTest("spm1d is not installed: install perpend with its study extra")
