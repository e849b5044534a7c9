"""The stabilising hand, live: as offline, however the streams are cut, and never waited for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquisition.recording.model import Recording
from acquisition.virtual_rig import SensorModel
from analysis.live_chain import LiveChain
from analysis.live_measures import LiveMeasures
from analysis.pipeline import analyse
from analysis.series import ResolvedSeries, joined
from analysis.target import Target
from analysis.trial import PhaseName

Maker = Callable[..., Any]
MODEL = SensorModel(force_rate_hz=200.0, imu_rate_hz=100.0, stabiliser_rate_hz=125.0)


@pytest.fixture(scope="module")
def half_way(told: Maker) -> Any:
    """Somebody whose other hand lets go of the block half-way; a left rig."""
    return told("left", 3, "T13", stabiliser=True, seed=5, repetitions=1, model=MODEL)


def play(recording: Recording, cuts_us: Iterable[int]) -> ResolvedSeries:
    chain = LiveChain(recording.rig, recording.identity, Target())
    first = min(int(stream.device_time_us[0]) for stream in recording.streams.values())
    begin, blocks = 0, []
    for end in cuts_us:
        for name, stream in recording.streams.items():
            since = stream.device_time_us - first
            use = (since >= begin) & (since < end)
            chain.feed(name, stream.device_time_us[use], stream.counts[use])
        begin = end
        block = chain.take()
        blocks += [block] if block is not None else []
    whole = joined(blocks)
    assert whole is not None
    return whole


EVENLY = range(100_000, 40_000_000, 100_000)


def test_it_is_what_the_recording_tells(half_way: Any) -> None:
    """Within a newton while it presses steadily; on and off within 0.1 s."""
    live, offline = play(half_way.recording, EVENLY), analyse(half_way.recording).series
    assert live.stabiliser_n is not None
    assert live.stabiliser_on is not None
    assert offline.stabiliser_n is not None
    assert offline.stabiliser_on is not None

    row = np.searchsorted(offline.time_s, live.time_s - 1e-6)
    known = np.isfinite(live.stabiliser_n) & (row < len(offline))
    row = np.minimum(row, len(offline) - 1)
    apart = (live.stabiliser_n - offline.stabiliser_n[row])[known & live.stabiliser_on]

    assert known.mean() > 0.9
    assert np.median(np.abs(apart)) < 0.3
    edges = [np.flatnonzero(np.diff(on.astype(np.int8))) for on in
             (live.stabiliser_on, offline.stabiliser_on)]  # fmt: skip
    assert len(edges[0]) == len(edges[1]) == 2
    assert live.time_s[edges[0]] == pytest.approx(offline.time_s[edges[1]], abs=0.1)


@settings(max_examples=12, deadline=None)
@given(inner=st.lists(st.integers(1, 14_999_999), min_size=1, max_size=20, unique=True))
def test_cutting_the_streams_anywhere_changes_nothing(half_way: Any, inner: list[int]) -> None:
    whole = play(half_way.recording, range(100_000, 15_100_000, 100_000))

    cut = play(half_way.recording, [*sorted(inner), 15_000_000])

    count = min(len(cut), len(whole))
    assert count > 2900
    assert cut.stabiliser_n is not None
    assert whole.stabiliser_n is not None
    np.testing.assert_array_equal(cut.stabiliser_n[:count], whole.stabiliser_n[:count])


def test_the_glide_does_not_wait_for_it(half_way: Any) -> None:
    """A second cell that falls silent leaves its rows unknown and the others as they are."""
    recording = half_way.recording
    stream = recording.streams["stabiliser"]
    silent = replace(
        stream,
        sample_number=stream.sample_number[:900],
        device_time_us=stream.device_time_us[:900],
        counts=stream.counts[:900],
        segment=stream.segment[:900],
        arrival_ns=stream.arrival_ns[:900],
    )
    broken = replace(recording, streams={**recording.streams, "stabiliser": silent})

    whole, rest = play(recording, EVENLY), play(broken, EVENLY)

    np.testing.assert_array_equal(whole.force_n, rest.force_n)
    assert rest.stabiliser_n is not None
    assert np.isfinite(rest.stabiliser_n[1000:1400]).all()
    assert np.isnan(rest.stabiliser_n[1500:]).all()


def test_its_measures_come_right_behind_the_repetition(half_way: Any) -> None:
    recording = half_way.recording
    live = LiveMeasures(Target(), fs_hz=200.0, side="left")

    (one,) = [*live.feed(play(recording, EVENLY)), *live.finish()]

    (offline,) = analyse(recording).repetitions
    for phase in PhaseName:
        ours, theirs = one.repetition.phases[phase].values, offline.phases[phase].values
        assert ours["stabiliser_present"] is theirs["stabiliser_present"]
        assert ours["stabiliser_coverage_percent"] == pytest.approx(
            theirs["stabiliser_coverage_percent"], abs=1.5
        )
    raising = one.repetition.phases[PhaseName.RAISE].values
    assert raising["stabiliser_force_mean_N"] == pytest.approx(18.0, abs=0.3)


def test_a_rig_without_the_cell_has_nothing_of_it(told: Maker) -> None:
    live = play(told(seed=5, repetitions=1, model=MODEL).recording, EVENLY[:100])

    assert live.stabiliser_n is None
    assert live.stabiliser_on is None
