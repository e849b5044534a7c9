"""Runs of flags."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.runs import run_lengths, runs_of, with_hysteresis, without_short_gaps

Flags = st.lists(st.booleans(), max_size=60)


@given(Flags)
def test_runs_are_exactly_where_flags_are_true(flags: list[bool]) -> None:
    again = np.zeros(len(flags), dtype=np.bool_)
    runs = list(runs_of(np.array(flags, dtype=np.bool_)))
    for start, stop in runs:
        again[start:stop] = True

    assert again.tolist() == flags
    assert all(first[1] < second[0] for first, second in itertools.pairwise(runs))


@given(Flags, st.integers(0, 5))
def test_run_lengths_count_up_from_what_was_before(flags: list[bool], before: int) -> None:
    expected, lasted = [], before
    for flag in flags:
        lasted = lasted + 1 if flag else 0
        expected.append(lasted)

    assert run_lengths(np.array(flags, dtype=np.bool_), before).tolist() == expected


def test_short_runs_are_passed_over() -> None:
    flags = np.array([1, 0, 1, 1, 0, 1, 1, 1], dtype=np.bool_)

    assert list(runs_of(flags, min_length=2)) == [(2, 4), (5, 8)]


def test_only_short_gaps_between_runs_are_filled() -> None:
    flags = np.array([0, 1, 0, 0, 1, 0, 0, 0, 1, 0], dtype=np.bool_)

    filled = without_short_gaps(flags, 2)

    assert filled.tolist() == [False, True, True, True, True, False, False, False, True, False]


@given(st.lists(st.sampled_from([0.0, 2.9, 3.0, 4.0, 5.0, 6.0, np.nan]), max_size=60))
def test_hysteresis_is_that_of_a_two_level_switch(values: list[float]) -> None:
    expected, state = [], False
    for value in values:
        if value >= 5.0:
            state = True
        elif value < 3.0:
            state = False
        expected.append(state)

    assert with_hysteresis(np.array(values), on=5.0, off=3.0).tolist() == expected
