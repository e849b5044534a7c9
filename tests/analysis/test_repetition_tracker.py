"""The live cutting: what the whole series gives, however it comes in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.measures import measure_repetitions
from analysis.repetition_tracker import (
    LOOK_BACK_S,
    FinishedRepetition,
    MovementPhase,
    RepetitionTracker,
)
from analysis.repetitions import find_repetitions
from analysis.series import ResolvedSeries, rows_of
from analysis.target import Target
from analysis.trial import Measured, RepetitionSpans, Span

FS_HZ = 200.0
Floats = NDArray[np.float64]
Maker = Callable[..., Any]
Lift = Callable[..., Floats]


def tracked(series: ResolvedSeries, cuts: list[int]) -> list[FinishedRepetition]:
    tracker = RepetitionTracker(fs_hz=FS_HZ)
    found: list[FinishedRepetition] = []
    edges = [0, *sorted(cut % (len(series) + 1) for cut in cuts), len(series)]
    for begin, end in pairwise(edges):
        found += tracker.feed(rows_of(series, slice(begin, end)))
    return [*found, *tracker.finish()]


def in_whole(one: FinishedRepetition) -> RepetitionSpans:
    """Return the spans as numbers of samples of the whole series."""
    begin = round(one.series.time_s[0] * FS_HZ)

    def moved(span: Span) -> Span:
        return Span(span.start + begin, span.stop + begin)

    spans = one.spans
    return RepetitionSpans(
        setup=moved(spans.setup),
        raising=moved(spans.raising),
        top=moved(spans.top),
        lowering=moved(spans.lowering),
        release=moved(spans.release),
        complete=spans.complete,
    )


@pytest.fixture(scope="module")
def eventful(series: Maker, lift: Lift) -> ResolvedSeries:
    """A slow lift, a quick one right behind it, one that is lost on its way, a cut-off one.

    The hand comes and goes, and the arm trembles.
    """
    lost = lift(top_deg=120.0, rest_s=1.0)
    lost[900:1150] = np.nan
    elevation = np.concatenate(
        [
            lift(up_s=20.0, down_s=12.0),
            lift(up_s=1.0, top_s=0.0, down_s=0.7, rest_s=0.3),
            lift(top_deg=20.0, up_s=1.0, down_s=1.0),
            lost,
            lift()[:1000],
        ]
    )
    time_s = np.arange(len(elevation)) / FS_HZ
    elevation = np.abs(elevation + 0.1 * np.sin(2 * np.pi * 5.0 * time_s))
    on = 40.0 * (np.sin(2 * np.pi * time_s / 17.0) > -0.3)
    made: ResolvedSeries = series(elevation, on[:, np.newaxis] * Target().direction)
    return made


@settings(deadline=None, max_examples=30)
@given(cuts=st.lists(st.integers(0, 2**20), max_size=40))
def test_cutting_anywhere_gives_the_same_as_the_whole_series(
    eventful: ResolvedSeries, cuts: list[int]
) -> None:
    """Only the release may end earlier: the live one is not waited for."""
    whole = find_repetitions(eventful)

    live = [in_whole(one) for one in tracked(eventful, cuts)]

    assert [spans.complete for spans in whole] == [True, True, False, False, False]
    assert [replace(one, release=Span(0, 0)) for one in live] == [
        replace(one, release=Span(0, 0)) for one in whole
    ]
    for ours, theirs in zip(live, whole, strict=True):
        assert ours.release.start == theirs.release.start
        assert ours.release.stop <= max(theirs.release.stop, theirs.release.start + FS_HZ + 1)


@settings(deadline=None, max_examples=20)
@given(cuts=st.lists(st.integers(0, 2**20), max_size=40))
def test_cutting_anywhere_gives_the_same_rows(eventful: ResolvedSeries, cuts: list[int]) -> None:
    at_once, in_blocks = tracked(eventful, []), tracked(eventful, cuts)

    assert len(at_once) == len(in_blocks)
    for ours, theirs in zip(in_blocks, at_once, strict=True):
        assert ours.spans == theirs.spans
        np.testing.assert_array_equal(ours.series.time_s, theirs.series.time_s)


def test_a_repetition_is_told_a_second_behind_its_end_at_the_latest(
    series: Maker, lift: Lift
) -> None:
    rows = series(lift(up_s=10.0, down_s=10.0))
    tracker = RepetitionTracker(fs_hz=FS_HZ)
    told_at = None
    for begin in range(0, len(rows), 4):
        if tracker.feed(rows_of(rows, slice(begin, begin + 4))):
            told_at = begin + 4

    (spans,) = find_repetitions(rows)

    assert told_at is not None
    assert told_at - spans.lowering.stop <= 1.0 * FS_HZ + 4


def all_of(measured: Measured) -> dict[str, Any]:
    """Return values and the ends of intervals by name."""
    ends = {f"{key}, interval": ends for key, ends in measured.intervals.items()}
    return {**measured.values, **ends}


def test_a_repetition_measured_live_has_the_measures_of_the_recording(
    eventful: ResolvedSeries,
) -> None:
    """But for the filter of the jerk, which looks beyond the movement."""
    whole = measure_repetitions(eventful, find_repetitions(eventful), Target(), side="right")
    for one, recorded in zip(tracked(eventful, [997, 5000]), whole, strict=True):
        (live,) = measure_repetitions(one.series, [one.spans], Target(), side="right")
        ours, theirs = dict(live.measured.values), dict(recorded.measured.values)

        jerk = theirs.pop("smoothness_ldlj")
        assert ours.pop("smoothness_ldlj") == (jerk and pytest.approx(jerk, rel=1e-4))
        # The hand may still be on when the repetition is told.
        for key in ("release_elevation_deg", "release_elevation_u_deg"):
            assert ours.pop(key) in (None, theirs.pop(key))
        assert ours == theirs
        for name, phase in live.phases.items():
            of_recording = recorded.phases[name]
            # Long sums of the same numbers, lying otherwise in memory: all but the last digits.
            found, wanted = all_of(phase), all_of(of_recording)
            assert found.keys() == wanted.keys()
            for key, value in wanted.items():
                same = value is None or isinstance(value, bool)
                assert found[key] == (value if same else pytest.approx(value, abs=1e-9)), key
            assert phase.reasons == of_recording.reasons
            assert phase.interval_reasons == of_recording.interval_reasons


def test_the_phase_follows_arm_and_hand(series: Maker, lift: Lift) -> None:
    elevation = lift()
    on = np.zeros(len(elevation))
    on[200:-200] = 40.0
    rows = series(elevation, on[:, np.newaxis] * [-1.0, 0.0, 0.0])
    tracker = RepetitionTracker(fs_hz=FS_HZ)
    seen = [tracker.phase]
    for begin in range(0, len(rows), 10):
        tracker.feed(rows_of(rows, slice(begin, begin + 10)))
        if tracker.phase is not seen[-1]:
            seen.append(tracker.phase)

    assert seen == [
        MovementPhase.HOME,
        MovementPhase.SET_UP,
        MovementPhase.RAISE,
        MovementPhase.LOWER,
        MovementPhase.RELEASE,
        MovementPhase.HOME,
    ]


def test_a_second_attempt_is_a_raise_again(series: Maker) -> None:
    ways = [np.zeros(200), np.linspace(0, 90, 400), np.linspace(90, 40, 200)]
    tracker = RepetitionTracker(fs_hz=FS_HZ)

    tracker.feed(series(np.concatenate(ways)))
    coming_down = tracker.phase
    again = series(np.linspace(40, 120, 400))
    tracker.feed(replace(again, time_s=again.time_s + 800 / FS_HZ))

    assert coming_down is MovementPhase.LOWER
    assert tracker.phase is MovementPhase.RAISE


def test_rows_that_do_not_go_on_end_the_repetition_unfinished(series: Maker, lift: Lift) -> None:
    """As after a silence, or when the rig has begun anew."""
    rows = series(lift())
    up, rest = rows_of(rows, slice(0, 1000)), rows_of(rows, slice(1400, None))
    tracker = RepetitionTracker(fs_hz=FS_HZ)

    tracker.feed(up)
    broken, other = tracker.feed(rest)

    assert not broken.spans.complete
    assert len(broken.series) <= 1000
    assert not other.spans.complete
    assert other.series.time_s[0] == rest.time_s[0]


def test_a_long_rest_is_not_kept(series: Maker) -> None:
    tracker = RepetitionTracker(fs_hz=FS_HZ)
    rest = series(np.zeros(int(10 * FS_HZ)))

    for block in range(60):
        tracker.feed(replace(rest, time_s=rest.time_s + 10.0 * block))

    kept_s = sum(len(part) for part in tracker._rows) / FS_HZ
    assert LOOK_BACK_S <= kept_s <= LOOK_BACK_S + 20.0


def test_no_rows_are_nothing(series: Maker) -> None:
    tracker = RepetitionTracker(fs_hz=FS_HZ)

    assert tracker.feed(rows_of(series(np.zeros(2)), slice(0, 0))) == ()
    assert tracker.finish() == ()
