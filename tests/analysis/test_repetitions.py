"""Repetitions: as many as there were, with the boundaries they had."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.repetition_settings import RepetitionSettings
from analysis.repetitions import find_repetitions

FS_HZ = 200.0
FIVE_PERCENT = 0.0594345
"""Share of a minimum-jerk movement's duration at whose end its speed is 5 % of the peak (closed
form, Flash & Hogan 1985)."""
Floats = NDArray[np.float64]
Maker = Callable[..., Any]
Lift = Callable[..., Floats]


@dataclass(frozen=True)
class Told:
    """One lift and how it really was."""

    top_deg: float
    up_s: float
    top_s: float
    down_s: float
    rest_s: float


lifts = st.builds(
    Told,
    top_deg=st.floats(45.0, 170.0),
    up_s=st.floats(0.4, 40.0),
    top_s=st.floats(0.0, 3.0),
    down_s=st.floats(0.4, 40.0),
    rest_s=st.floats(1.0, 3.0),
)


def tremble(count: int, size_deg: float, rate_hz: float) -> Floats:
    return np.asarray(size_deg * np.sin(2.0 * np.pi * rate_hz * np.arange(count) / FS_HZ))


@settings(deadline=None, max_examples=60)
@given(
    told=st.lists(lifts, min_size=1, max_size=3),
    hangs_deg=st.floats(0.0, 4.5),
    tremble_deg=st.floats(0.0, 0.2),
    rate_hz=st.floats(3.0, 9.0),
)
def test_count_and_boundaries_equal_the_truth(
    series: Maker, lift: Lift, told: list[Told], hangs_deg: float, tremble_deg: float,
    rate_hz: float,
) -> None:  # fmt: skip
    """From half a second to 40 s up or down, on a stop that need not hang straight down.

    Within 0.15 s and 3 % of the duration of where the speed is 5 % of its peak.
    """
    parts = [
        lift(one.top_deg - hangs_deg, one.up_s, one.top_s, one.down_s, one.rest_s) for one in told
    ]
    elevation = hangs_deg + np.concatenate(parts)
    moved = np.abs(elevation + tremble(len(elevation), tremble_deg, rate_hz))

    found = find_repetitions(series(moved))

    assert len(found) == len(told)
    begin = 0
    for spans, one, part in zip(found, told, parts, strict=True):
        start_s = begin / FS_HZ + one.rest_s + FIVE_PERCENT * one.up_s
        stop_s = (begin + len(part)) / FS_HZ - one.rest_s - FIVE_PERCENT * one.down_s
        assert spans.complete
        assert spans.movement.start / FS_HZ == pytest.approx(start_s, abs=0.15 + 0.03 * one.up_s)
        assert spans.movement.stop / FS_HZ == pytest.approx(stop_s, abs=0.15 + 0.03 * one.down_s)
        assert spans.raising.stop == spans.top.start < spans.top.stop == spans.lowering.start
        begin += len(part)


def test_the_top_is_what_lies_within_three_degrees_of_the_highest(
    series: Maker, lift: Lift
) -> None:
    elevation = lift(top_deg=120.0, top_s=2.0)

    (spans,) = find_repetitions(series(elevation))

    near = np.flatnonzero(elevation >= 117.0)
    assert (spans.top.start, spans.top.stop) == (near[0], near[-1] + 1)


def test_a_tremble_at_the_threshold_is_one_repetition(series: Maker, lift: Lift) -> None:
    elevation = lift(top_deg=60.0)

    found = find_repetitions(series(np.abs(elevation + tremble(len(elevation), 4.0, 4.0))))

    assert len(found) == 1


def test_a_tremble_at_home_is_no_repetition_and_no_end(series: Maker, lift: Lift) -> None:
    """An arm that shakes by four degrees at home is home, before and after."""
    elevation = lift(rest_s=4.0)
    shaking = np.where(elevation == 0.0, np.abs(tremble(len(elevation), 4.0, 3.0)), elevation)

    (spans,) = find_repetitions(series(shaking))

    assert spans.complete
    assert spans.movement.start / FS_HZ == pytest.approx(4.0, abs=0.5)


def test_an_excursion_below_the_amplitude_is_none(series: Maker, lift: Lift) -> None:
    assert find_repetitions(series(lift(top_deg=29.0))) == ()
    assert len(find_repetitions(series(lift(top_deg=31.0)))) == 1


def test_a_false_start_is_not_part_of_the_repetition(series: Maker, lift: Lift) -> None:
    false_start = lift(top_deg=20.0, up_s=1.0, top_s=0.1, down_s=1.0, rest_s=1.0)

    (spans,) = find_repetitions(series(np.concatenate([false_start, lift(rest_s=1.0)])))

    assert spans.movement.start > len(false_start)


@pytest.mark.parametrize("at_deg", [20.0, 90.0])
def test_a_pause_on_the_way_makes_no_second_repetition(
    series: Maker, lift: Lift, at_deg: float
) -> None:
    whole = lift()
    up = int(np.argmax(whole > at_deg))
    down = len(whole) - up
    held = np.full(600, at_deg)
    paused = np.concatenate([whole[:up], held, whole[up:down], held, whole[down:]])

    (spans,) = find_repetitions(series(paused))

    alone = find_repetitions(series(whole))[0].movement
    assert spans.complete
    assert len(spans.movement) == pytest.approx(len(alone) + 1200, abs=20)


def test_a_second_attempt_half_way_is_the_same_repetition(series: Maker, lift: Lift) -> None:
    up = lift(top_deg=100.0)[: 8 * 200]
    again = np.concatenate([up, np.linspace(100.0, 40.0, 400), np.linspace(40.0, 150.0, 800)])
    elevation = np.concatenate([again, np.linspace(150.0, 0.0, 1200), np.zeros(400)])

    (spans,) = find_repetitions(series(elevation))

    assert spans.complete
    assert elevation[spans.top.slice].min() > 146.0


@pytest.mark.parametrize("bounce_deg", [12.0, 25.0])
def test_a_dropped_arm_that_bounces_is_one_repetition(
    series: Maker, lift: Lift, bounce_deg: float
) -> None:
    """Down in a quarter of a second, and up again from the stop within the refractory time."""
    up = lift()[: 9 * 200]
    fall = np.linspace(150.0, 0.0, 50)
    bounce = bounce_deg * np.sin(np.pi * np.linspace(0.0, 1.0, 60))
    elevation = np.concatenate([up, fall, np.zeros(20), bounce, np.zeros(600)])

    (spans,) = find_repetitions(series(elevation))

    assert spans.complete
    assert spans.movement.stop == pytest.approx(len(up) + 50 + 20 + 60, abs=20)


def test_a_quick_second_repetition_is_no_bounce(series: Maker, lift: Lift) -> None:
    """Home for a fifth of a second only, but past the minimum amplitude again."""
    one = lift(rest_s=0.1, up_s=1.0, top_s=0.0, down_s=1.0)

    first, second = find_repetitions(series(np.concatenate([np.zeros(200), one, one])))

    assert first.complete
    assert second.complete
    assert first.lowering.stop <= second.raising.start


@pytest.mark.parametrize(
    ("cut", "phase"),
    [
        (slice(None, 1000), "lowering"),  # ends on the way up
        (slice(None, 2200), "release"),  # ends on the way down
        (slice(900, None), "setup"),  # begins on the way up
        (slice(1900, None), "raising"),  # begins on the way down
        (slice(540, None), "setup"),  # begins on the way up, still below the home level
    ],
)
def test_a_trial_cut_in_mid_movement_is_unfinished(
    series: Maker, lift: Lift, cut: slice, phase: str
) -> None:
    elevation = lift()[cut]

    (spans,) = find_repetitions(series(elevation))

    assert not spans.complete
    assert len(getattr(spans, phase)) == 0
    assert len(spans.movement) > 0


def test_a_long_unknown_stretch_ends_a_repetition_unfinished(series: Maker, lift: Lift) -> None:
    elevation = lift()
    elevation[1000:1202] = np.nan

    found = find_repetitions(series(elevation))

    assert [spans.complete for spans in found] == [False, False]
    assert found[0].movement.stop == 1000
    assert found[1].movement.start == 1202


@pytest.mark.parametrize("gap", [slice(900, 1100), slice(420, 500), slice(1650, 1750)])
def test_a_short_gap_does_not_matter(series: Maker, lift: Lift, gap: slice) -> None:
    elevation = lift()
    (whole,) = find_repetitions(series(elevation))
    elevation[gap] = np.nan

    (spans,) = find_repetitions(series(elevation))

    assert spans.complete
    assert abs(spans.movement.start - whole.movement.start) <= gap.stop - gap.start
    assert spans.movement.stop == whole.movement.stop


def test_an_unknown_rest_between_two_repetitions_takes_nothing_from_them(
    series: Maker, lift: Lift
) -> None:
    elevation = np.concatenate([lift(), lift()])
    elevation[len(elevation) // 2 - 150 : len(elevation) // 2 + 150] = np.nan

    found = find_repetitions(series(elevation))

    assert [spans.complete for spans in found] == [True, True]


def test_nothing_known_is_no_repetition(series: Maker) -> None:
    assert find_repetitions(series(np.full(1000, np.nan))) == ()


def push(on: Floats) -> Floats:
    return on[:, np.newaxis] * [-1.0, 0.0, 0.0]


def test_set_up_and_release_come_from_the_hand(series: Maker, lift: Lift) -> None:
    elevation = lift()
    on = np.zeros(len(elevation))
    on[200:-150] = 40.0

    (spans,) = find_repetitions(series(elevation, push(on)))

    assert spans.setup.start == 200
    assert spans.setup.stop == spans.raising.start
    assert spans.release.start == spans.lowering.stop
    assert spans.release.stop == len(elevation) - 150


def test_a_hand_that_comes_late_and_goes_early_has_neither(series: Maker, lift: Lift) -> None:
    """The movement has begun before the hand is on, and is not over when it goes."""
    elevation = lift()
    on = np.zeros(len(elevation))
    on[700:2000] = 40.0

    (spans,) = find_repetitions(series(elevation, push(on)))

    assert len(spans.setup) == 0
    assert len(spans.release) == 0


def test_a_hand_left_on_between_serves_the_next_set_up(series: Maker, lift: Lift) -> None:
    first, second = find_repetitions(series(np.concatenate([lift(), lift()])))

    assert len(first.release) == 0
    assert second.setup.start == first.lowering.stop


def test_levels_that_do_not_rise_are_refused() -> None:
    with pytest.raises(ValueError, match="must rise"):
        RepetitionSettings(boundary_deg=9.0)
    with pytest.raises(ValueError, match="must not exceed"):
        RepetitionSettings(onset_window_least_s=2.0)


@pytest.mark.parametrize("person", ["E01", "T04", "T07", "T08"])
def test_the_virtual_rigs_repetitions_are_found_where_they_are(told: Maker, person: str) -> None:
    """Expert, too fast, hand late, and several faults; truth by the rig's own script."""
    from analysis.pipeline import analyse

    rig = told(person=person)
    trial = analyse(rig.recording)
    fs_hz = trial.series.fs_hz

    plans = rig.rig.truth(np.array([0.0, rig.rig.duration_s])).repetitions

    assert len(trial.repetitions) == len(plans)
    for repetition, plan in zip(trial.repetitions, plans, strict=True):
        movement = repetition.spans.movement
        up_s, down_s = plan.top_start_s - plan.raise_start_s, plan.home_s - plan.lower_start_s
        start_s = plan.raise_start_s + FIVE_PERCENT * up_s
        stop_s = plan.home_s - FIVE_PERCENT * down_s
        assert repetition.spans.complete
        assert movement.start / fs_hz == pytest.approx(start_s, abs=0.1)
        assert movement.stop / fs_hz == pytest.approx(stop_s, abs=0.1)
