"""Steadiness against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.steadiness import coefficient_of_variation_percent, detrended_sd

TIME_S = np.arange(100_000) / 10_000.0


def test_the_variation_of_a_whole_number_of_sine_waves() -> None:
    """100/(40·√2) = 1.76777 %."""
    force = 40.0 + np.sin(2.0 * np.pi * TIME_S)

    assert coefficient_of_variation_percent(force) == pytest.approx(1.7677669530, rel=1e-5)


def test_the_variation_of_a_square_wave() -> None:
    force = 40.0 + 2.0 * np.where(TIME_S % 1.0 < 0.5, 1.0, -1.0)

    assert coefficient_of_variation_percent(force) == pytest.approx(5.0, rel=1e-5)


def test_a_slow_change_is_variation_but_no_tremble() -> None:
    """40 + t/2 over 10 s: 3.39618 % raw, nothing about its line."""
    force = 40.0 + 0.5 * TIME_S

    assert coefficient_of_variation_percent(force) == pytest.approx(3.39618, rel=1e-4)
    assert detrended_sd(force, TIME_S) == pytest.approx(0.0, abs=1e-9)


@given(slope=st.floats(-5.0, 5.0), mean=st.floats(5.0, 100.0))
def test_a_trend_does_not_hide_the_tremble(slope: float, mean: float) -> None:
    tremble = np.sin(2.0 * np.pi * TIME_S)

    found = detrended_sd(mean + slope * TIME_S + tremble, TIME_S)

    assert found == pytest.approx(detrended_sd(tremble, TIME_S), rel=1e-6)
    assert found == pytest.approx(np.sqrt(0.5), rel=0.01)


def test_a_gap_does_not_bend_the_trend() -> None:
    """With samples missing the line still is a line against time."""
    some = np.concatenate([np.arange(20_000), np.arange(80_000, 100_000)])

    assert detrended_sd(40.0 + 0.5 * TIME_S[some], TIME_S[some]) == pytest.approx(0.0, abs=1e-9)


def test_a_mean_of_nothing_cannot_be_divided_by() -> None:
    with pytest.raises(ValueError, match="mean above 0"):
        coefficient_of_variation_percent(np.array([-1.0, 1.0]))
