"""Repetitions: as many as there were, with the boundaries they had."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.repetitions import find_repetitions

FS_HZ = 200.0
Maker = Callable[..., Any]
Lift = Callable[..., NDArray[np.float64]]


@settings(deadline=None, max_examples=40)
@given(
    tops=st.lists(st.floats(45.0, 165.0), min_size=1, max_size=4),
    up_s=st.floats(1.0, 15.0),
    down_s=st.floats(1.0, 15.0),
    top_s=st.floats(0.05, 3.0),
    rest_s=st.floats(1.0, 3.0),
    tremble_deg=st.floats(0.0, 0.1),
    seed=st.integers(0, 2**31),
)
def test_count_and_boundaries_equal_the_truth(
    series: Maker, lift: Lift, tops: list[float], up_s: float, down_s: float, top_s: float,
    rest_s: float, tremble_deg: float, seed: int,
) -> None:  # fmt: skip
    """Within 0.3 s and an eighth of the way: so slowly a minimum-jerk movement begins and ends."""
    parts = [lift(top, up_s, top_s, down_s, rest_s) for top in tops]
    elevation = np.concatenate(parts)
    time_s = np.arange(len(elevation)) / FS_HZ
    phase = np.random.default_rng(seed).uniform(0, 2 * np.pi)
    moved = elevation + tremble_deg * np.sin(2 * np.pi * 0.3 * time_s + phase)

    found = find_repetitions(series(moved))

    assert len(found) == len(tops)
    begin = 0
    for spans, part in zip(found, parts, strict=True):
        start = begin + int(rest_s * FS_HZ)
        stop = begin + len(part) - int(rest_s * FS_HZ)
        assert spans.complete
        assert abs(spans.raising.start - start) < FS_HZ * (0.3 + up_s / 8)
        assert abs(spans.lowering.stop - stop) < FS_HZ * (0.3 + down_s / 8)
        assert spans.raising.stop <= spans.top.stop == spans.lowering.start
        begin += len(part)


def test_a_tremble_at_the_threshold_is_one_repetition(series: Maker, lift: Lift) -> None:
    elevation = lift(top_deg=60.0)
    time_s = np.arange(len(elevation)) / FS_HZ
    trembling = np.maximum(elevation + 4.0 * np.sin(2 * np.pi * 4.0 * time_s), 0.0)

    assert len(find_repetitions(series(trembling))) == 1


def test_an_excursion_below_the_amplitude_is_none(series: Maker, lift: Lift) -> None:
    assert find_repetitions(series(lift(top_deg=25.0))) == ()


def test_a_pause_on_the_way_makes_no_second_repetition(series: Maker, lift: Lift) -> None:
    whole = lift()
    half = len(whole) // 4
    paused = np.concatenate([whole[:half], np.full(600, whole[half]), whole[half:]])

    (spans,) = find_repetitions(series(paused))

    assert spans.complete


def test_a_second_attempt_half_way_is_the_same_repetition(series: Maker, lift: Lift) -> None:
    up = lift(top_deg=100.0)[: 8 * 200]
    again = np.concatenate([up, np.linspace(100.0, 40.0, 400), np.linspace(40.0, 150.0, 800)])
    elevation = np.concatenate([again, np.linspace(150.0, 0.0, 1200), np.zeros(400)])

    assert len(find_repetitions(series(elevation))) == 1


def test_a_bounce_at_the_stop_is_not_a_second_end(series: Maker, lift: Lift) -> None:
    elevation = lift()
    bounce = 12.0 * np.sin(np.pi * np.linspace(0.0, 1.0, 60))
    elevation[-390:-330] = bounce

    (spans,) = find_repetitions(series(elevation))

    assert spans.complete


@pytest.mark.parametrize("cut", [slice(None, 1200), slice(900, None)])
def test_a_trial_cut_in_mid_movement_is_unfinished(series: Maker, lift: Lift, cut: slice) -> None:
    (spans,) = find_repetitions(series(lift()[cut]))

    assert not spans.complete


def test_a_long_unknown_stretch_ends_a_repetition_unfinished(series: Maker, lift: Lift) -> None:
    elevation = lift()
    elevation[1400:1800] = np.nan

    found = find_repetitions(series(elevation))

    assert [spans.complete for spans in found] == [False, False]


def test_a_short_gap_does_not_matter(series: Maker, lift: Lift) -> None:
    elevation = lift()
    elevation[900:930] = np.nan

    (spans,) = find_repetitions(series(elevation))

    assert spans.complete


def test_set_up_and_release_come_from_the_hand(series: Maker, lift: Lift) -> None:
    elevation = lift()
    on = np.zeros(len(elevation))
    on[200:-150] = 40.0

    (spans,) = find_repetitions(series(elevation, on[:, np.newaxis] * [-1.0, 0.0, 0.0]))

    assert spans.setup.start == 200
    assert spans.release.stop == len(elevation) - 150


def test_a_hand_left_on_between_serves_the_next_set_up(series: Maker, lift: Lift) -> None:
    first, second = find_repetitions(series(np.concatenate([lift(), lift()])))

    assert first.release.stop <= second.setup.start
    assert second.setup.start == first.lowering.stop
