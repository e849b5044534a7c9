"""Columns of the traces: least and greatest, however the samples came."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.target import Target
from ui.live.moment import moment_of
from ui.live.traces import COLUMNS, STEP_S, TracesLook, TracesModel

SHARED = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)


def looks_at(parts: list[Any], feed: Any) -> TracesLook:
    model = TracesModel()
    for i, part in enumerate(parts):
        look = model.look(moment_of(Target(), part, tuple(parts[: i + 1]), feed))
    return look


def rows(series: Any, which: NDArray[np.int64]) -> Any:
    return replace(
        series,
        **{
            field.name: value[which]
            for field in fields(series)
            if isinstance(value := getattr(series, field.name), np.ndarray)
        },
    )


@SHARED
@given(st.lists(st.integers(1, 2999), min_size=1, max_size=5))
def test_cutting_into_blocks_changes_nothing(
    steady: Callable[..., Any], well: Callable[..., Any], cuts: list[int]
) -> None:
    whole = steady(np.array([-40.0, 0.0, 0.0]), seconds=3.0)
    ripple = 1.0 + 0.1 * np.sin(np.arange(3000) * 0.7)
    whole = replace(whole, force_n=whole.force_n * ripple[:, np.newaxis])
    parts = [rows(whole, part) for part in np.split(np.arange(3000), sorted(set(cuts)))]

    one, other = looks_at([whole], well()), looks_at(parts, well())

    assert np.array_equal(one.force_n, other.force_n, equal_nan=True)


def test_each_column_has_the_least_and_greatest_of_its_time(
    steady: Callable[..., Any], well: Callable[..., Any]
) -> None:
    series = steady(np.array([-1.0, 0.0, 0.0]), seconds=1.0)
    size = np.random.default_rng(3).uniform(10.0, 50.0, 1000)
    series = replace(series, force_n=series.force_n * size[:, np.newaxis])

    look = looks_at([series], well())

    columns = np.floor(series.time_s / STEP_S).astype(int)
    for column in np.unique(columns):
        there = size[columns == column]
        shown = look.force_n[COLUMNS - 1 - (columns[-1] - column)]
        assert np.allclose(shown, [there.min(), there.max()])


def test_a_jump_in_time_is_a_break(steady: Callable[..., Any], well: Callable[..., Any]) -> None:
    push = np.array([-40.0, 0.0, 0.0])
    parts = [steady(push, seconds=1.0), steady(push, seconds=1.0, start_s=4.0)]

    look = looks_at(parts, well())

    known = np.isfinite(look.force_n[:, 0])
    assert known[-1]
    assert not known[-50]
    assert known[-90]


def test_in_a_silence_the_past_goes_on_to_the_left(
    steady: Callable[..., Any], well: Callable[..., Any]
) -> None:
    series = steady(np.array([-40.0, 0.0, 0.0]), seconds=1.0)

    look = looks_at([series], well(age_s=2.0))

    assert look.time_s[-1] < -2.0
