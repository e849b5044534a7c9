"""Movements as they come: whatever happens on the way, as many repetitions as there were.

Arms that shake at home, pause, start a second attempt, drop and bounce, very slow and very quick;
hands that overlap; trials cut anywhere; samples lost anywhere. Start and end are where the exact
speed is 5 % of the peak on the way up, or down, to within 0.15 s and 3 % of that way's duration;
0.5 s and 12 % if the arm shakes at home, which hides where a slow movement leaves it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.repetition_settings import RepetitionSettings
from analysis.repetition_tracker import FinishedRepetition, RepetitionTracker
from analysis.repetitions import find_repetitions
from analysis.series import rows_of
from analysis.trial import RepetitionSpans

FS_HZ = 200.0
LEAST_DEG = RepetitionSettings().minimum_amplitude_deg
Floats = NDArray[np.float64]
Maker = Callable[..., Any]
EXAMPLES = settings(deadline=None, max_examples=40)


def go(start_deg: float, stop_deg: float, seconds: float) -> Floats:
    """Return a minimum-jerk way (Flash & Hogan 1985)."""
    tau = np.linspace(0.0, 1.0, max(2, round(seconds * FS_HZ)))
    return start_deg + (stop_deg - start_deg) * np.asarray(10 * tau**3 - 15 * tau**4 + 6 * tau**5)


def stay(deg: float, seconds: float) -> Floats:
    return np.full(round(seconds * FS_HZ), deg)


@dataclass(frozen=True)
class Lift:
    """One repetition with its events; shares are of the way."""

    top_deg: float
    up_s: float
    down_s: float
    top_s: float
    pause_up: float | None
    pause_down: float | None
    pause_s: float
    second_attempt: bool
    drop: bool
    bounce_deg: float

    def ways(self) -> tuple[Floats, Floats]:
        """Return the way up to the last sample of the top, and the way down from there."""
        up: list[Floats] = []
        at = 0.0
        if self.pause_up is not None:
            at = self.pause_up * self.top_deg
            up += [go(0.0, at, self.pause_up * self.up_s), stay(at, self.pause_s)]
        if self.second_attempt:
            high = max(at + 5.0, 0.7 * self.top_deg)
            low = 0.45 * self.top_deg
            up += [go(at, high, 0.5 * self.up_s), go(high, low, 0.4 * self.up_s)]
            at = low
        up += [go(at, self.top_deg, self.up_s), stay(self.top_deg, self.top_s)]
        return np.concatenate(up), np.concatenate(self._down())

    def _down(self) -> list[Floats]:
        if self.drop:
            bounce = self.bounce_deg * np.sin(np.pi * np.linspace(0.0, 1.0, 50))
            return [np.linspace(self.top_deg, 0.0, 50), stay(0.0, 0.1), bounce]
        if self.pause_down is None:
            return [go(self.top_deg, 0.0, self.down_s)]
        at = self.pause_down * self.top_deg
        rest_s = (1.0 - self.pause_down) * self.down_s
        return [
            go(self.top_deg, at, rest_s),
            stay(at, self.pause_s),
            go(at, 0.0, self.pause_down * self.down_s),
        ]


maybe_share = st.none() | st.floats(0.3, 0.8)
lifts = st.builds(
    Lift,
    top_deg=st.floats(60.0, 170.0),
    up_s=st.floats(0.6, 40.0),
    down_s=st.floats(0.6, 40.0),
    top_s=st.floats(0.0, 3.0),
    pause_up=maybe_share,
    pause_down=maybe_share,
    pause_s=st.floats(0.2, 4.0),
    second_attempt=st.booleans(),
    drop=st.booleans(),
    bounce_deg=st.just(0.0) | st.floats(10.0, 25.0),  # less is no leaving of home
)


@dataclass(frozen=True)
class Trial:
    """Lifts one after another, exact, and where each truly begins and ends, seconds."""

    elevation: Floats
    starts_s: tuple[float, ...]
    stops_s: tuple[float, ...]
    up_s: tuple[float, ...]
    down_s: tuple[float, ...]


def trial_of(told: list[Lift], rest_s: float) -> Trial:
    parts, begin = [stay(0.0, rest_s)], round(rest_s * FS_HZ)
    starts, stops, ups, downs = [], [], [], []
    for one in told:
        up, down = one.ways()
        fast_up, fast_down = np.abs(np.gradient(up)), np.abs(np.gradient(down))
        starts.append((begin + np.flatnonzero(fast_up > 0.05 * fast_up.max())[0]) / FS_HZ)
        last = np.flatnonzero(fast_down > 0.05 * fast_down.max())[-1]
        stops.append((begin + len(up) + last) / FS_HZ)
        ups.append(len(up) / FS_HZ)
        downs.append(len(down) / FS_HZ)
        parts += [up, down, stay(0.0, rest_s)]
        begin += len(up) + len(down) + len(parts[-1])
    return Trial(np.concatenate(parts), tuple(starts), tuple(stops), tuple(ups), tuple(downs))


def assert_as_told(
    found: tuple[RepetitionSpans, ...], trial: Trial, room_s: float, share: float = 0.03
) -> None:
    assert len(found) == len(trial.starts_s)
    for number, spans in enumerate(found):
        assert spans.complete
        start_s, stop_s = spans.movement.start / FS_HZ, spans.movement.stop / FS_HZ
        room = room_s + share * trial.up_s[number]
        assert start_s == pytest.approx(trial.starts_s[number], abs=room)
        room = room_s + share * trial.down_s[number]
        assert stop_s == pytest.approx(trial.stops_s[number], abs=room)
        assert spans.raising.stop == spans.top.start < spans.top.stop == spans.lowering.start


@EXAMPLES
@given(told=st.lists(lifts, min_size=1, max_size=3), rest_s=st.floats(1.5, 3.0))
def test_pauses_second_attempts_and_dropped_arms_change_no_count(
    series: Maker, told: list[Lift], rest_s: float
) -> None:
    trial = trial_of(told, rest_s)

    assert_as_told(find_repetitions(series(trial.elevation)), trial, 0.15)


@EXAMPLES
@given(
    told=st.lists(lifts, min_size=1, max_size=2),
    size_deg=st.floats(0.2, 2.5),
    rate_hz=st.floats(3.0, 9.0),
)
def test_an_arm_that_shakes_at_home_is_home(
    series: Maker, told: list[Lift], size_deg: float, rate_hz: float
) -> None:
    trial = trial_of(told, 2.5)
    time_s = np.arange(len(trial.elevation)) / FS_HZ
    shaking = np.abs(size_deg * np.sin(2.0 * np.pi * rate_hz * time_s))
    shaken = np.maximum(trial.elevation, np.where(trial.elevation < 3.0, shaking, 0.0))

    assert_as_told(find_repetitions(series(shaken)), trial, 0.5, 0.12)


@EXAMPLES
@given(told=lifts, share=st.floats(0.05, 0.95), at_end=st.booleans())
def test_a_trial_cut_in_mid_movement_has_an_unfinished_repetition(
    series: Maker, told: Lift, share: float, at_end: bool
) -> None:
    """And a whole one beside it, where it was."""
    trial = trial_of([told, told], 2.0)
    number = 1 if at_end else 0
    cut_s = trial.starts_s[number] + share * (trial.stops_s[number] - trial.starts_s[number])
    cut = round(cut_s * FS_HZ)
    assume(trial.elevation[cut] >= 8.0)  # lower it may be home already
    part = trial.elevation[:cut] if at_end else trial.elevation[cut:]
    past = np.max(part[len(part) - cut_of(trial, cut) :] if at_end else part[: left_of(trial, cut)])
    offset_s = 0.0 if at_end else cut / FS_HZ

    found = find_repetitions(series(part))

    whole = [spans for spans in found if spans.complete]
    other = 0 if at_end else 1
    assert len(whole) == 1
    assert whole[0].movement.start / FS_HZ + offset_s == pytest.approx(
        trial.starts_s[other], abs=0.15 + 0.03 * trial.up_s[other]
    )
    assert len(found) - 1 == (past >= 30.0)  # what never passed the amplitude is none


def cut_of(trial: Trial, cut: int) -> int:
    """Return how many samples of the second lift lie before the cut."""
    return cut - round((trial.starts_s[1] - 1.0) * FS_HZ)


def left_of(trial: Trial, cut: int) -> int:
    """Return how many samples of the first lift lie behind the cut."""
    return round((trial.stops_s[0] + 1.0) * FS_HZ) - cut


@EXAMPLES
@given(told=lifts, at=st.floats(0.0, 1.0), lost_s=st.floats(0.02, 0.9))
def test_short_losses_anywhere_change_no_count(
    series: Maker, told: Lift, at: float, lost_s: float
) -> None:
    """A boundary moves by no more than what is lost."""
    trial = trial_of([told, told], 2.0)
    lossy = trial.elevation.copy()
    begin = round(at * (len(lossy) - lost_s * FS_HZ))
    lossy[begin : begin + round(lost_s * FS_HZ)] = np.nan
    # A drop takes a quarter of a second: lost whole, nobody can say how the arm came home.
    assert_as_told(find_repetitions(series(lossy)), trial, 0.15 + lost_s)


@EXAMPLES
@given(told=lifts, share=st.floats(0.2, 0.8), lost_s=st.floats(1.1, 5.0))
def test_a_long_loss_ends_a_repetition_unfinished(
    series: Maker, told: Lift, share: float, lost_s: float
) -> None:
    """The arm may have been anywhere meanwhile; the lift beside it is whole."""
    trial = trial_of([told, told], 2.0)
    lossy = trial.elevation.copy()
    middle = trial.starts_s[0] + share * (trial.stops_s[0] - trial.starts_s[0])
    stop = min(middle + lost_s, trial.stops_s[0] + 1.0)
    start = min(middle, stop - 1.1)
    lossy[round(start * FS_HZ) : round(stop * FS_HZ)] = np.nan

    found = find_repetitions(series(lossy))

    # What is left on either side of the loss counts if it can be seen to be a lift.
    second_s = (trial.stops_s[0] + trial.starts_s[1]) / 2.0
    pieces = lossy[: round(start * FS_HZ)], lossy[round(stop * FS_HZ) : round(second_s * FS_HZ)]
    highest_deg = [piece.max(initial=0.0) for piece in pieces]
    assume(all(abs(deg - LEAST_DEG) > 1e-6 for deg in highest_deg))
    seen = [deg > LEAST_DEG for deg in highest_deg]
    assert [spans.complete for spans in found] == [False] * sum(seen) + [True]
    for spans in found[:-1]:
        assert spans.movement.stop / FS_HZ <= trial.stops_s[0] + 0.15 + 0.03 * trial.down_s[0]


@EXAMPLES
@given(
    told=st.lists(lifts, min_size=2, max_size=3),
    gap=st.none() | st.floats(0.2, 1.0),
    before_s=st.floats(0.2, 1.0),
)
def test_set_ups_and_releases_that_meet_do_not_overlap(
    series: Maker, told: list[Lift], gap: float | None, before_s: float
) -> None:
    """The hand stays on between lifts, or lets go of one right before it takes the next."""
    trial = trial_of(told, 3.0)
    on = np.zeros(len(trial.elevation))
    on[round((trial.starts_s[0] - before_s) * FS_HZ) : -round(1.0 * FS_HZ)] = 40.0
    middles = [(a + b) / 2 for a, b in zip(trial.stops_s, trial.starts_s[1:], strict=False)]
    for middle in middles if gap is not None else []:
        half_s = (gap or 0.0) / 2.0
        on[round((middle - half_s) * FS_HZ) : round((middle + half_s) * FS_HZ)] = 0.0

    found = find_repetitions(series(trial.elevation, on[:, np.newaxis] * [-1.0, 0.0, 0.0]))

    assert_as_told(found, trial, 0.15)
    for spans, following in pairwise(found):
        assert spans.release.stop <= following.setup.start
    for middle, spans, following in zip(middles, found, found[1:], strict=False):
        if gap is not None:
            assert spans.release.stop / FS_HZ == pytest.approx(middle - gap / 2, abs=0.02)
            assert following.setup.start / FS_HZ == pytest.approx(middle + gap / 2, abs=0.02)


@settings(deadline=None, max_examples=20)
@given(told=st.lists(lifts, min_size=1, max_size=2), block=st.integers(3, 4000))
def test_live_the_same_repetitions_are_found(series: Maker, told: list[Lift], block: int) -> None:
    trial = trial_of(told, 2.0)
    rows = series(trial.elevation)
    tracker = RepetitionTracker(fs_hz=FS_HZ)

    live: list[FinishedRepetition] = []
    for begin in range(0, len(rows), block):
        live += tracker.feed(rows_of(rows, slice(begin, begin + block)))
    live += tracker.finish()

    offline = find_repetitions(rows)
    assert len(live) == len(offline)
    for one, spans in zip(live, offline, strict=True):
        first = round(one.series.time_s[0] * FS_HZ)
        movement = one.spans.movement
        assert (movement.start + first, movement.stop + first) == (
            spans.movement.start,
            spans.movement.stop,
        )
