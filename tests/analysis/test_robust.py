"""Robust slopes against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.robust import theil_sen


@given(seed=st.integers(0, 2**31), count=st.integers(3, 60), coarse=st.booleans())
def test_the_slope_is_that_of_scipy(seed: int, count: int, coarse: bool) -> None:
    """With ties and without."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=count)
    y = 0.7 * x + rng.normal(size=count)
    if coarse:
        x, y = np.round(2.0 * x), np.round(2.0 * y) + 0.25 * np.arange(count)
        x[:2] = (-9.0, 9.0)

    theirs = stats.theilslopes(y, x, 0.95).slope

    assert theil_sen(x, y, most=1000) == pytest.approx(theirs, rel=1e-9)


def test_a_quarter_of_bad_samples_does_not_matter() -> None:
    """The breakdown point of the slope is 29 % (Sen 1968)."""
    x = np.linspace(0.0, 150.0, 200)
    y = 0.1 * x
    y[:50] = 90.0

    assert theil_sen(x, y, most=1000) == pytest.approx(0.1, abs=0.02)


def test_picking_samples_evenly_keeps_the_slope() -> None:
    rng = np.random.default_rng(1)
    x = np.linspace(0.0, 150.0, 20_000)
    y = 0.12 * x + rng.normal(size=len(x))

    assert theil_sen(x, y, most=250) == pytest.approx(0.12, abs=0.006)


def test_data_that_never_change_have_a_slope_of_nothing() -> None:
    assert theil_sen(np.arange(50.0), np.full(50, 3.0), most=50) == 0.0


@pytest.mark.parametrize("x", [[], [1.0], [2.0, 2.0, 2.0]])
def test_a_slope_needs_something_to_lean_on(x: list[float]) -> None:
    with pytest.raises(ValueError, match="two different values"):
        theil_sen(np.array(x), np.array(x), most=10)
