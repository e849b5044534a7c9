"""Intraclass correlations against the published table and a maintained library."""

from __future__ import annotations

import os
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.study.reliability import intraclass, mean_squares, measurement

Floats = NDArray[np.float64]
DATA = os.environ.get("PERPEND_REFERENCE_DATA")
PUBLISHED = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float
)
"""Shrout & Fleiss 1979, Psychological Bulletin 86:420, table 2: six targets, four judges."""


def test_all_six_forms_of_the_published_table() -> None:
    """Their table 4, two decimals."""
    found = {one.form: round(one.value, 2) for one in intraclass(PUBLISHED)}

    assert found == {
        "ICC(1,1)": 0.17,
        "ICC(2,1)": 0.29,
        "ICC(3,1)": 0.71,
        "ICC(1,4)": 0.44,
        "ICC(2,4)": 0.62,
        "ICC(3,4)": 0.91,
    }


def test_the_intervals_of_the_published_table() -> None:
    """As the R package psych has them in its tests of the same table (ICC, 95 %)."""
    found = {one.form: (one.low, one.high) for one in intraclass(PUBLISHED)}

    expected = {
        "ICC(1,1)": (-0.132932, 0.722560),
        "ICC(2,1)": (0.018787, 0.761084),
        "ICC(3,1)": (0.342465, 0.945858),
        "ICC(1,4)": (-0.884442, 0.912415),
        "ICC(2,4)": (0.071137, 0.927232),
        "ICC(3,4)": (0.675675, 0.985892),
    }
    for form, limits in expected.items():
        assert found[form] == pytest.approx(limits, abs=1e-6)


@pytest.mark.skipif(DATA is None, reason="PERPEND_REFERENCE_DATA is unset")
def test_the_table_here_is_the_published_one() -> None:
    path = Path(DATA or "") / "shrout_fleiss_1979_table2.csv"

    assert np.array_equal(np.loadtxt(path, delimiter=",", skiprows=2)[:, 1:], PUBLISHED)


def test_the_mean_squares_are_those_of_an_analysis_of_variance() -> None:
    """Against the least-squares fit of statsmodels."""
    api = pytest.importorskip("statsmodels.api", reason="needs the extra [study]")
    n, k = PUBLISHED.shape
    person, judge = np.divmod(np.arange(n * k), k)
    ones = [np.ones(n * k)]
    people = [(person == number).astype(float) for number in range(1, n)]
    judges = [(judge == number).astype(float) for number in range(1, k)]
    rest = {
        name: api.OLS(PUBLISHED.ravel(), np.column_stack(columns)).fit().ssr
        for name, columns in (
            ("people", ones + people),
            ("judges", ones + judges),
            ("both", ones + people + judges),
        )
    }

    ms = mean_squares(PUBLISHED)

    assert ms.error * (n - 1) * (k - 1) == pytest.approx(rest["both"])
    assert ms.rows * (n - 1) == pytest.approx(rest["judges"] - rest["both"])
    assert ms.columns * (k - 1) == pytest.approx(rest["people"] - rest["both"])
    assert ms.within * n * (k - 1) == pytest.approx(rest["people"])


def test_another_table_agrees_with_the_maintained_library() -> None:
    """Against pingouin, whose intervals have two decimals."""
    pandas = pytest.importorskip("pandas", reason="needs the extra [study]")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own, of its dependencies
        pingouin = pytest.importorskip("pingouin", reason="needs the extra [study]")
        table = np.random.default_rng(3).normal(size=(9, 3)) + np.arange(9)[:, np.newaxis] / 3
        person, judge = np.divmod(np.arange(table.size), 3)
        long = pandas.DataFrame({"p": person, "j": judge, "y": table.ravel()})
        theirs = pingouin.intraclass_corr(long, targets="p", raters="j", ratings="y")

    ours = intraclass(table)

    assert [one.value for one in ours] == pytest.approx(theirs["ICC"].tolist(), abs=1e-9)
    column = "CI95" if "CI95" in theirs else "CI95%"
    limits = np.vstack(theirs[column].tolist())
    assert np.array([(one.low, one.high) for one in ours]) == pytest.approx(limits, abs=0.0051)


def test_error_of_measurement_is_the_root_of_the_mean_squares() -> None:
    """Weir 2005: √MSE, or with the variance of the judges; recomputed for the published table."""
    consistency, agreement = measurement(PUBLISHED)

    assert consistency.sem == pytest.approx(1.009675, abs=1e-6)
    assert agreement.sem == pytest.approx(2.502776, abs=1e-6)
    assert consistency.mdc95 == pytest.approx(2.798677, abs=1e-6)
    assert agreement.mdc95 == pytest.approx(6.937342, abs=1e-6)


@given(st.integers(0, 1000), st.floats(-50, 50), st.floats(0.1, 10))
def test_a_shift_or_another_unit_changes_no_form(seed: int, shift: float, unit: float) -> None:
    table = np.random.default_rng(seed).normal(size=(5, 3))

    first = [one.value for one in intraclass(table)]

    assert [one.value for one in intraclass(shift + unit * table)] == pytest.approx(first, abs=1e-6)


def test_people_who_never_differ_from_themselves_are_perfectly_reliable() -> None:
    table = np.repeat(np.array([[1.0], [2.0], [5.0]]), 3, axis=1)

    found = intraclass(table)

    assert [one.value for one in found] == pytest.approx([1.0] * 6)
    assert [one.low for one in found] == pytest.approx([1.0] * 6)


@pytest.mark.parametrize(
    "table", [np.ones((1, 3)), np.ones((3, 1)), np.array([[1, 2], [3, np.nan]])]
)
def test_what_is_no_complete_table_is_refused(table: Floats) -> None:
    with pytest.raises(ValueError, match=r"two sessions each; .* ha(s|ve) so many|has no value"):
        intraclass(table)


def test_equal_values_have_no_correlation() -> None:
    with pytest.raises(ValueError, match="all values are equal"):
        intraclass(np.ones((3, 3)))
