"""Reduced lines: small, but no peak and no gap is lost."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.trial import Span
from ui.report.figures.lines import evenly, extremes

LENGTHS = st.integers(0, 3000)
SEEDS = st.integers(0, 2**32 - 1)


@given(length=LENGTHS, points=st.integers(2, 500), offset=st.integers(0, 50))
def test_evenly_keeps_both_ends_and_no_more_than_asked(
    length: int, points: int, offset: int
) -> None:
    index = evenly(Span(offset, offset + length), points)

    assert len(index) <= points
    assert np.all(np.diff(index) > 0)
    if length:
        assert (index[0], index[-1]) == (offset, offset + length - 1)


@given(length=LENGTHS, points=st.integers(4, 400), seed=SEEDS)
def test_extremes_keep_the_least_the_greatest_and_the_ends(
    length: int, points: int, seed: int
) -> None:
    values = np.random.default_rng(seed).normal(size=length)

    index = extremes(values, Span(0, length), points)

    assert np.all(np.diff(index) > 0)
    assert len(index) <= max(points + 3, 4)
    if length:
        assert values[index].min() == values.min()
        assert values[index].max() == values.max()
        assert {0, length - 1} <= set(index.tolist())


@given(seed=SEEDS, start=st.integers(0, 900), width=st.integers(1, 100))
def test_a_gap_stays_a_gap(seed: int, start: int, width: int) -> None:
    values = np.random.default_rng(seed).normal(size=1000)
    values[start : start + width] = np.nan

    index = extremes(values, Span(0, 1000), 100)

    assert np.isnan(values[index]).any()
    assert np.isfinite(values[index]).any()


def test_a_part_keeps_its_place_in_the_series() -> None:
    values = np.arange(1000.0)

    index = extremes(values, Span(200, 800), 20)

    assert (index[0], index[-1]) == (200, 799)
