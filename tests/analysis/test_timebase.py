"""One grid for two streams: nothing is bridged that was lost, nothing is lost that was there."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquisition.recording.model import Recording, StreamData
from acquisition.virtual_rig import SensorModel
from analysis.errors import NotAnalysable
from analysis.sample_times import clock_offsets_us, fit_line, sample_times_s
from analysis.settings import AnalysisSettings
from analysis.timebase import Sampled, even_samples, longest_bridge_s, onto_grid
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM, SampleType, StreamSpec

Maker = Callable[..., Any]
Floats = NDArray[np.float64]
DEFAULTS = AnalysisSettings()
SLOW = SensorModel(force_rate_hz=200.0, imu_rate_hz=100.0)


@pytest.fixture
def recording(told: Maker) -> Recording:
    made: Recording = told(repetitions=1, seed=2, model=SLOW).recording
    return made


def with_stream(recording: Recording, name: str, **changes: Any) -> Recording:
    stream = dataclasses.replace(recording.streams[name], **changes)
    return dataclasses.replace(recording, streams={**recording.streams, name: stream})


def kept(recording: Recording, name: str, keep: NDArray[np.bool_]) -> Recording:
    stream = recording.streams[name]
    rows = {
        field.name: getattr(stream, field.name)[keep]
        for field in dataclasses.fields(StreamData)
        if field.name != "spec"
    }
    return with_stream(recording, name, **rows)


def sampled(time_s: Floats, values: Floats) -> Sampled:
    return Sampled(time_s, values, np.zeros(len(time_s), dtype=np.bool_))


def test_a_straight_line_is_met_exactly_between_uneven_samples() -> None:
    rng = np.random.default_rng(0)
    time_s = np.cumsum(rng.uniform(0.001, 0.009, 500))
    values = np.stack([3.0 * time_s - 1.0, -2.0 * time_s], axis=1)
    grid = np.arange(time_s[0], time_s[-1], 0.002)

    found, gap, rail = onto_grid(grid, sampled(time_s, values), max_gap_s=0.02)

    assert found == pytest.approx(np.stack([3.0 * grid - 1.0, -2.0 * grid], axis=1))
    assert not gap.any()
    assert not rail.any()


@settings(max_examples=50, deadline=None)
@given(first=st.integers(1, 80), lost=st.integers(1, 15))
def test_a_spacing_is_bridged_up_to_the_limit_and_not_beyond(first: int, lost: int) -> None:
    time_s = np.delete(np.linspace(0.0, 0.198, 100), np.arange(first, first + lost))
    grid = np.linspace(0.0, 0.198, 199)

    _, gap, _ = onto_grid(grid, sampled(time_s, time_s[:, np.newaxis]), max_gap_s=0.0201)

    inside = (grid > 0.002 * (first - 1) + 1e-9) & (grid < 0.002 * (first + lost) - 1e-9)
    assert (gap == (inside if lost >= 10 else False)).all()


def test_rows_that_use_a_saturated_sample_are_flagged() -> None:
    time_s = np.linspace(0.0, 0.09, 10)
    rail = np.arange(10) == 5
    grid = np.arange(0.0, 0.09, 0.0025)

    _, _, flagged = onto_grid(grid, Sampled(time_s, time_s[:, np.newaxis], rail), max_gap_s=0.1)

    assert flagged[(grid > 0.0401) & (grid < 0.0599)].all()
    assert not flagged[(grid < 0.0399) | (grid > 0.0601)].any()


def test_a_slow_stream_may_lose_one_sample() -> None:
    spec = StreamSpec(1, FORCE_STREAM, SampleType.INT32, 80.0, ())

    assert longest_bridge_s(spec, 0.02) == pytest.approx(2.5 / 80.0)
    assert longest_bridge_s(dataclasses.replace(spec, rate_hz=1000.0), 0.02) == 0.02


def test_the_grid_has_the_force_rate_and_covers_both_streams(recording: Recording) -> None:
    samples, _, _ = even_samples(recording, DEFAULTS)

    assert samples.fs_hz == 200.0
    assert np.diff(samples.time_s) == pytest.approx(0.005)
    duration_s = len(recording.streams[FORCE_STREAM].counts) / 200.0
    assert samples.time_s[-1] == pytest.approx(duration_s, abs=0.03)
    assert not samples.missing.any()
    assert not samples.saturated.any()


def test_another_rate_may_be_asked_for(recording: Recording) -> None:
    samples, _, _ = even_samples(recording, AnalysisSettings(grid_rate_hz=50.0))

    assert np.diff(samples.time_s) == pytest.approx(0.02)


def test_lost_force_samples_stay_a_gap_of_the_force_alone(recording: Recording) -> None:
    number = recording.streams[FORCE_STREAM].sample_number
    samples, pushed, _ = even_samples(
        kept(recording, FORCE_STREAM, (number < 1000) | (number >= 1100)), DEFAULTS
    )

    lost = (samples.time_s > 5.0) & (samples.time_s < 5.49)
    assert samples.missing[lost].all()
    assert np.isnan(pushed[lost]).all()
    assert samples.imu_known[lost].all()
    assert samples.missing.sum() == pytest.approx(100, abs=3)


def test_saturated_counts_are_no_numbers(recording: Recording) -> None:
    stream = recording.streams[FORCE_STREAM]
    counts = stream.counts.copy()
    counts[2000:2040, 0] = stream.spec.channels[0].count_max

    samples, pushed, _ = even_samples(with_stream(recording, FORCE_STREAM, counts=counts), DEFAULTS)

    at = (samples.time_s > 10.0) & (samples.time_s < 10.19)
    assert samples.saturated[at].all()
    assert not samples.missing[at].any()
    assert np.isnan(pushed[at]).all()
    assert samples.saturated.sum() == pytest.approx(41, abs=3)


def test_repeated_blocks_change_nothing(recording: Recording) -> None:
    stream = recording.streams[FORCE_STREAM]
    again = np.concatenate([np.arange(500), np.arange(480, len(stream.counts))])
    doubled = {
        field.name: getattr(stream, field.name)[again]
        for field in dataclasses.fields(StreamData)
        if field.name != "spec"
    }

    _, found, _ = even_samples(with_stream(recording, FORCE_STREAM, **doubled), DEFAULTS)

    _, expected, _ = even_samples(recording, DEFAULTS)
    np.testing.assert_allclose(found, expected, atol=1e-3)


def test_stamps_that_jitter_are_cleaned_by_their_numbers(recording: Recording) -> None:
    stream = recording.streams[FORCE_STREAM]
    jitter_us = np.random.default_rng(3).normal(0.0, 400.0, len(stream.counts)).astype(np.int64)
    shaken = with_stream(recording, FORCE_STREAM, device_time_us=stream.device_time_us + jitter_us)

    times = sample_times_s(shaken.streams[FORCE_STREAM], {0: 0.0})

    true = sample_times_s(stream, {0: 0.0})
    assert np.abs(times - true).max() < 20e-6
    line = fit_line(stream.device_time_us + jitter_us, stream.sample_number, 200.0)
    assert line is not None
    assert line.jitter_s == pytest.approx(400e-6, rel=0.05)
    assert line.rate_hz == pytest.approx(200.0, rel=1e-6)


def test_a_single_wrong_stamp_moves_no_other() -> None:
    number = np.arange(5000)
    stamps = number * 1000
    stamps[77] += 3_000_000

    line = fit_line(stamps, number, 1000.0)

    assert line is not None
    assert line.fits
    assert np.abs(line.times_s(number) - number * 1e-3).max() < 1e-7


@pytest.mark.parametrize("at", [50, 99_950])
def test_a_pause_near_an_end_of_a_long_stream_keeps_its_stamps(at: int) -> None:
    number = np.arange(100_000)
    stamps = number * 1000 + 5_000_000 * (number >= at)

    line = fit_line(stamps, number, 1000.0)

    assert line is not None
    assert line.rate_hz == pytest.approx(1000.0, rel=1e-6)
    assert not line.fits


def test_a_wandering_oscillator_keeps_its_stamps(recording: Recording) -> None:
    stream = recording.streams[IMU_STREAM]
    wander_us = (30_000 * np.sin(np.arange(len(stream.counts)) / 900.0)).astype(np.int64)
    warm = dataclasses.replace(stream, device_time_us=stream.device_time_us + wander_us)

    times = sample_times_s(warm, {0: 0.0})

    np.testing.assert_allclose(times, warm.device_time_us * 1e-6, atol=1e-12)


@pytest.mark.parametrize("size", [0, 1, 19])
def test_too_few_stamps_make_no_line(size: int) -> None:
    assert fit_line(np.arange(size) * 1000, np.arange(size), 1000.0) is None


def split_at(recording: Recording, second_s: float, **offsets_us: float) -> Recording:
    """Begin a second segment; its clock and its arrival are moved by the offsets."""
    streams = {}
    for name, stream in recording.streams.items():
        late = stream.device_time_us >= second_s * 1e6 + stream.device_time_us[0]
        streams[name] = dataclasses.replace(
            stream,
            segment=late.astype(np.int64),
            device_time_us=stream.device_time_us + (late * offsets_us["clock"]).astype(np.int64),
            arrival_ns=stream.arrival_ns + (late * offsets_us["arrival"] * 1e3).astype(np.int64),
        )
    return dataclasses.replace(recording, streams=streams)


def test_a_line_that_came_back_keeps_the_rigs_clock(recording: Recording) -> None:
    resumed = split_at(recording, 9.0, clock=0.0, arrival=30_000.0)

    assert clock_offsets_us(resumed.streams) == {0: 0.0, 1: 0.0}


def test_a_rig_that_restarted_is_placed_by_arrival(recording: Recording) -> None:
    """Its clock went back by 12 s, and 3 s passed meanwhile: there the grid is empty."""
    restarted = split_at(recording, 9.0, clock=-12e6, arrival=3e6)

    samples, _, _ = even_samples(restarted, DEFAULTS)

    dead = (samples.time_s > 9.05) & (samples.time_s < 11.95)
    assert samples.missing[dead].all()
    assert not samples.missing[~dead & (samples.time_s < 8.9)].any()
    assert samples.time_s[-1] == pytest.approx(
        even_samples(recording, DEFAULTS)[0].time_s[-1] + 3.0, abs=0.02
    )


@pytest.mark.parametrize("name", [FORCE_STREAM, IMU_STREAM])
def test_a_missing_stream_is_told_in_one_sentence(recording: Recording, name: str) -> None:
    streams = {key: stream for key, stream in recording.streams.items() if key != name}

    with pytest.raises(NotAnalysable, match=f"no stream '{name}'"):
        even_samples(dataclasses.replace(recording, streams=streams), DEFAULTS)


def test_an_empty_stream_is_told_in_one_sentence(recording: Recording) -> None:
    nothing = np.zeros(len(recording.streams[IMU_STREAM].counts), dtype=np.bool_)

    with pytest.raises(NotAnalysable, match="holds 0 samples"):
        even_samples(kept(recording, IMU_STREAM, nothing), DEFAULTS)


def test_another_rigs_description_is_told_in_one_sentence(told: Maker) -> None:
    six = told(axes=6, repetitions=1, seed=2, model=SLOW).recording
    three = told(repetitions=1, seed=2, model=SLOW).recording

    with pytest.raises(NotAnalysable, match="has 6 channels, the rig description asks for 3"):
        even_samples(dataclasses.replace(six, rig=three.rig), DEFAULTS)


def test_streams_that_never_meet_are_told_in_one_sentence(recording: Recording) -> None:
    stream = recording.streams[IMU_STREAM]
    away = with_stream(recording, IMU_STREAM, device_time_us=stream.device_time_us + 3_600_000_000)

    with pytest.raises(NotAnalysable, match="never overlap"):
        even_samples(away, DEFAULTS)
