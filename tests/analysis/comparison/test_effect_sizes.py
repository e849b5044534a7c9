"""Effect sizes against reference libraries and by simulation with known truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.comparison.effect_sizes import (
    case_against,
    difference,
    holm,
    paired_difference,
    pooled_difference,
)

A = [13.0, 17, 19, 11, 20, 15, 18, 9, 12, 16]
B = [12.0, 8, 6, 16, 12, 14, 10, 18, 4, 11]
"""Two-sample t of 2.176768 on 18 degrees: a data set of the library spm1d (0-D, two-sample)."""
FIRST = [210.0, 205, 193, 182, 259, 239, 164, 197, 222, 211, 187, 175, 186, 243, 246]
THEN = [197.0, 195, 191, 174, 236, 226, 157, 196, 201, 196, 181, 164, 181, 229, 231]
"""Paired t of 6.6896995 on 14 degrees: likewise."""


def test_a_difference_is_that_of_the_reference_libraries() -> None:
    """Hedges's g and Welch's interval by pingouin, the t behind it by the published data set."""
    pingouin = pytest.importorskip("pingouin")

    found = difference(B, A)

    exact = pingouin.compute_effsize(A, B, eftype="cohen")
    np.testing.assert_allclose(exact * np.sqrt(5.0), 2.176768, atol=1e-6)
    # pingouin takes the usual approximation of the small-sample factor, good to a thousandth.
    expected = pingouin.compute_effsize(A, B, eftype="hedges")
    assert found.standardised.value == pytest.approx(expected, rel=1e-3)
    low, high = pingouin.ttest(A, B, correction=True)["CI95"].iloc[0]
    assert (found.mean.low, found.mean.high) == pytest.approx((low, high), abs=0.006)
    assert found.mean.value == pytest.approx(np.mean(A) - np.mean(B))


def test_the_interval_of_a_standardised_difference_is_that_of_the_non_central_t() -> None:
    """By statsmodels, which solves for the non-centrality in its own way."""
    effect_size = pytest.importorskip("statsmodels.stats.effect_size")

    found = difference(B, A)

    solved = effect_size._noncentrality_t(2.176767967, 18, alpha=0.05)
    ratio = found.standardised.value / (2.176767967 * np.sqrt(0.2))
    expected = np.array(solved.confint) * np.sqrt(0.2) * ratio
    np.testing.assert_allclose(
        [found.standardised.low, found.standardised.high], expected, rtol=1e-5
    )


def test_pairs_are_measured_by_their_own_differences() -> None:
    found = paired_difference(FIRST, THEN)

    n = len(FIRST)
    change = np.array(THEN) - np.array(FIRST)
    d = change.mean() / change.std(ddof=1)
    assert d * np.sqrt(n) == pytest.approx(-6.6896995, abs=1e-6)
    assert found.mean.value == pytest.approx(change.mean())
    interval = stats.t.interval(0.95, n - 1, change.mean(), stats.sem(change))
    assert (found.mean.low, found.mean.high) == pytest.approx(interval)
    assert d < found.standardised.value < 0.0
    assert found.standardised.excludes_zero


def test_the_small_sample_factor_is_the_published_one() -> None:
    """Hedges 1981: close to 1 − 3/(4·df − 1), to a thousandth from 10 degrees of freedom on."""
    found = difference(B, A)

    cohen = 2.176767967 * np.sqrt(0.2)
    assert found.standardised.value / cohen == pytest.approx(1.0 - 3.0 / 71.0, abs=1e-3)


@pytest.mark.parametrize("truth", [0.0, 0.8])
def test_the_intervals_hold_the_truth_as_often_as_they_say(truth: float) -> None:
    """Nominal 95 %; the error of a share seen in 400 trials is 1.1 %."""
    rng = np.random.default_rng(1)
    held = {"mean": 0, "g": 0, "case": 0}
    for _ in range(400):
        found = difference(rng.normal(size=6), truth + rng.normal(size=8))
        held["mean"] += found.mean.low <= truth <= found.mean.high
        held["g"] += found.standardised.low <= truth <= found.standardised.high
        case = case_against(rng.normal(size=6), truth)
        held["case"] += case.sds.low <= truth <= case.sds.high

    for name, count in held.items():
        assert count / 400 == pytest.approx(0.95, abs=0.035), name


def test_one_more_of_the_sample_is_called_unlike_it_as_seldom_as_meant() -> None:
    rng = np.random.default_rng(2)
    small = [case_against(sample[:5], sample[5]).p < 0.05 for sample in rng.normal(size=(1000, 6))]

    assert np.mean(small) == pytest.approx(0.05, abs=0.021)


def test_the_test_of_one_case_is_the_published_formula() -> None:
    """t = (x − mean) / (SD · √((n + 1)/n)) on n − 1 degrees (Crawford & Howell 1998)."""
    found = case_against(A, 22.0)

    t = (22.0 - 15.0) / (np.std(A, ddof=1) * np.sqrt(11.0 / 10.0))
    assert found.t == pytest.approx(t)
    assert found.p == pytest.approx(2.0 * stats.t.sf(t, 9))
    assert found.sds.low < found.sds.value < found.sds.high


@pytest.mark.parametrize("values", [[], [1.0], [2.0, 2.0, 2.0]])
def test_without_a_spread_there_is_no_effect_size(values: list[float]) -> None:
    with pytest.raises(ValueError, match="spread"):
        case_against(values, 1.0)
    with pytest.raises(ValueError, match="spread"):
        difference(values, A)


def test_values_of_different_number_are_no_pairs() -> None:
    with pytest.raises(ValueError, match="3 and 2 values make no pairs"):
        paired_difference([1.0, 2.0, 3.0], [1.0, 2.0])


@pytest.mark.parametrize("change", [7.0, 70.0, 7000.0])
def test_pairs_that_all_change_by_much_have_an_interval_in_sds_too(change: float) -> None:
    """Far out in its tails scipy's non-central t answers NaN."""
    first = np.array([0.1, -0.4, 0.2])

    found = paired_difference(first, first + change + np.array([0.3, -0.2, 0.05]))

    low, value, high = (getattr(found.standardised, name) for name in ("low", "value", "high"))
    assert np.isfinite([low, high]).all()
    assert 0.0 < low < value < high


def test_a_pooled_difference_is_students() -> None:
    found = pooled_difference(A, B)

    expected = stats.ttest_ind(B, A)
    assert found.p == pytest.approx(expected.pvalue)
    assert (found.mean.low, found.mean.high) == pytest.approx(
        tuple(expected.confidence_interval(0.95))
    )


def test_one_value_pooled_with_several_is_the_test_of_a_case() -> None:
    found, case = pooled_difference(A, [31.0]), case_against(A, 31.0)

    assert found.p == pytest.approx(case.p)
    with pytest.raises(ValueError, match="1 value and 1 value have no spread"):
        pooled_difference([1.0], [2.0])


def test_chances_of_welchs_and_of_pairs_are_scipys() -> None:
    assert difference(A, B).p == pytest.approx(stats.ttest_ind(A, B, equal_var=False).pvalue)
    assert paired_difference(FIRST, THEN).p == pytest.approx(stats.ttest_rel(FIRST, THEN).pvalue)


def test_holms_adjustment_is_that_of_statsmodels() -> None:
    multitest = pytest.importorskip("statsmodels.stats.multitest")
    chances = [0.012, 0.2, 0.0004, 0.9, 0.013, 0.013, 0.03]

    np.testing.assert_allclose(holm(chances), multitest.multipletests(chances, method="holm")[1])
    assert holm([]) == []
