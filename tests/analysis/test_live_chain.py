"""The live chain: cut anywhere it says the same, and it agrees with the offline answer."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquisition.recording.model import Recording, StreamData
from acquisition.virtual_rig import SensorModel
from analysis.errors import NotAnalysable
from analysis.live_chain import LiveChain
from analysis.pipeline import analyse
from analysis.series import ResolvedSeries, joined
from analysis.target import Target
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM

Maker = Callable[..., Any]
Ints = NDArray[np.int64]
BLOCK_US = 100_000
SLOW = SensorModel(force_rate_hz=200.0, imu_rate_hz=100.0)
BIASED = dataclasses.replace(SLOW, gyro_bias_rad_s=0.25)


def chain_for(recording: Recording) -> LiveChain:
    return LiveChain(recording.rig, recording.identity, Target())


def feed(chain: LiveChain, recording: Recording, begin_us: int, end_us: int) -> None:
    """Feed both streams from one device time, counted from the start, to another."""
    first = first_us(recording)
    for name, stream in recording.streams.items():
        since = stream.device_time_us - first
        use = (since >= begin_us) & (since < end_us)
        chain.feed(name, stream.device_time_us[use], stream.counts[use])


def first_us(recording: Recording) -> int:
    return min(int(stream.device_time_us[0]) for stream in recording.streams.values())


def play(recording: Recording, cuts_us: Iterable[int]) -> ResolvedSeries:
    """Feed a recording to a chain, taking what is new at every cut."""
    chain, begin, blocks = chain_for(recording), 0, []
    for end in cuts_us:
        feed(chain, recording, begin, end)
        begin = end
        block = chain.take()
        if block is not None:
            blocks.append(block)
    whole = joined(blocks)
    assert whole is not None
    return whole


def evenly(seconds: float) -> range:
    return range(BLOCK_US, int(seconds * 1e6) + BLOCK_US, BLOCK_US)


def rows_between(series: ResolvedSeries, first_s: float, last_s: float) -> NDArray[np.bool_]:
    return np.asarray((series.time_s > first_s) & (series.time_s < last_s))


def without(recording: Recording, name: str, first_s: float, last_s: float) -> Recording:
    """Lose the samples of a stream between two times."""
    stream = recording.streams[name]
    since = stream.device_time_us - first_us(recording)
    keep = (since < first_s * 1e6) | (since > last_s * 1e6)
    return with_rows(recording, name, keep)


def with_rows(recording: Recording, name: str, rows: Any) -> Recording:
    stream = recording.streams[name]
    columns = {
        field.name: getattr(stream, field.name)[rows]
        for field in dataclasses.fields(StreamData)
        if field.name != "spec"
    }
    changed = dataclasses.replace(stream, **columns)
    return dataclasses.replace(recording, streams={**recording.streams, name: changed})


@pytest.fixture
def recording(told: Maker) -> Recording:
    made: Recording = told(seed=7, repetitions=1, model=SLOW).recording
    return made


@pytest.fixture(scope="module")
def troubled(told: Maker) -> Recording:
    """A zero, a gap of the force, a long gap of the inertial unit, a saturated stretch."""
    made: Recording = told(seed=7, repetitions=1, model=SLOW).recording
    made = without(without(made, FORCE_STREAM, 3.0, 3.3), IMU_STREAM, 5.0, 5.5)
    counts = made.streams[FORCE_STREAM].counts.copy()
    counts[1150:1160, 0] = made.streams[FORCE_STREAM].spec.channels[0].count_max
    stream = dataclasses.replace(made.streams[FORCE_STREAM], counts=counts)
    return dataclasses.replace(made, streams={**made.streams, FORCE_STREAM: stream})


@pytest.fixture(scope="module")
def troubled_whole(troubled: Recording) -> ResolvedSeries:
    return play(troubled, evenly(10.0))


@settings(max_examples=25, deadline=None)
@given(inner=st.lists(st.integers(1, 9_999_999), min_size=1, max_size=30, unique=True))
def test_cutting_the_streams_anywhere_changes_nothing(
    troubled: Recording, troubled_whole: ResolvedSeries, inner: list[int]
) -> None:
    series = play(troubled, [*sorted(inner), 10_000_000])

    count = min(len(series), len(troubled_whole))
    assert count > 1950
    for field in dataclasses.fields(ResolvedSeries):
        found, expected = getattr(series, field.name), getattr(troubled_whole, field.name)
        if isinstance(found, np.ndarray):
            np.testing.assert_allclose(
                found[:count], expected[:count], atol=1e-9, err_msg=field.name
            )


@pytest.mark.parametrize(
    ("side", "axes", "plane_deg"), [("right", 3, 30.0), ("left", 6, 90.0), ("right", 6, 0.0)]
)
def test_live_agrees_with_offline_at_the_same_times(
    told: Maker, side: str, axes: int, plane_deg: float
) -> None:
    """Rows say when they happened, so nothing is shifted here.

    The rest is the heading, held instead of interpolated, the filters' unequal shape and the
    inclination without a look ahead: a fifth of a degree, less than a good rig's uncertainty.
    """
    recording = told(side, axes, plane_deg=plane_deg, seed=7, repetitions=2).recording
    offline = analyse(recording).series

    live = play(recording, evenly(offline.time_s[-1] + 1.0))

    at = np.round(live.time_s * offline.fs_hz).astype(int)
    np.testing.assert_allclose(live.time_s, offline.time_s[at], atol=1e-9)
    firm = live.directed & offline.directed[at] & (offline.magnitude_n[at] > 30.0)
    assert firm.sum() > 0.99 * (offline.directed & (offline.magnitude_n > 30.0)).sum()
    for name in ("azimuth_rad", "superior_angle_rad", "off_axis_rad", "elevation_rad"):
        error = getattr(live, name)[firm] - getattr(offline, name)[at][firm]
        assert np.rad2deg(np.sqrt(np.mean(error**2))) < 0.2, name
    speed = live.elevation_speed_rad_s[firm] - offline.elevation_speed_rad_s[at][firm]
    assert np.rad2deg(np.sqrt(np.mean(speed**2))) < 0.5
    if axes == 6:
        assert live.contact_point_m is not None
        assert offline.contact_point_m is not None
        shift = live.contact_point_m[firm] - offline.contact_point_m[at][firm]
        assert 1e3 * np.sqrt(np.nanmean(shift**2)) < 0.5


def test_live_directions_are_true_within_half_a_degree(told: Maker) -> None:
    made = told(side="left", plane_deg=30.0, seed=7, repetitions=1)

    series = play(made.recording, evenly(made.rig.duration_s))

    start = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
    truth = made.rig.truth(series.time_s + start)
    firm = series.directed & (truth.magnitude_n > 30.0)
    for name in ("azimuth_rad", "superior_angle_rad", "elevation_rad"):
        error = getattr(series, name)[firm] - getattr(truth, name)[firm]
        assert np.rad2deg(np.sqrt(np.mean(error**2))) < 0.5, name


def test_the_newest_row_is_as_old_as_the_stated_delay(recording: Recording) -> None:
    chain = chain_for(recording)
    feed(chain, recording, 0, 3_000_000)

    series = chain.take()

    assert series is not None
    newest = min(int(s.device_time_us[s.device_time_us < first_us(recording) + 3_000_000][-1])
                 for s in recording.streams.values())  # fmt: skip
    age_s = (newest - first_us(recording)) * 1e-6 - series.time_s[-1]
    assert chain.delay_s == pytest.approx(np.sqrt(2.0) / (2 * np.pi * 10.0), abs=0.003)
    assert age_s == pytest.approx(chain.delay_s, abs=1.0 / series.fs_hz + 0.001)


def test_nothing_new_gives_nothing(recording: Recording) -> None:
    chain = chain_for(recording)
    assert chain.take() is None
    feed(chain, recording, 0, 1_000_000)
    assert chain.take() is not None

    assert chain.take() is None


def test_streams_nobody_knows_pass(recording: Recording) -> None:
    chain = chain_for(recording)

    chain.feed("thermometer", np.arange(3), np.zeros((3, 1), dtype=np.int32))

    assert chain.take() is None


def test_a_rig_without_an_inertial_unit_is_refused(recording: Recording) -> None:
    specs = tuple(spec for spec in recording.identity.streams if spec.name == FORCE_STREAM)
    identity = dataclasses.replace(recording.identity, streams=specs)

    with pytest.raises(NotAnalysable, match="no stream 'imu'"):
        LiveChain(recording.rig, identity, Target())


# --- the zero ------------------------------------------------------------------------------


def test_the_first_quiet_second_at_home_is_the_zero(recording: Recording) -> None:
    chain = chain_for(recording)
    feed(chain, recording, 0, 1_000_000)
    early = chain.take()
    assert early is not None
    assert not chain.status.zeroed
    assert np.isnan(early.force_n).all()

    feed(chain, recording, 1_000_000, 3_500_000)
    late = chain.take()

    assert late is not None
    assert chain.status.zeroed
    assert chain.status.at_home
    assert np.abs(late.force_n[-50:]).max() < 0.1


def test_a_zero_with_a_hand_on_it_is_refused_with_the_reason(told: Maker) -> None:
    made = told(seed=7, repetitions=1, model=SLOW)
    truth = made.rig.truth(np.arange(0.0, 12.0, 0.001))
    pressed = np.flatnonzero((truth.magnitude_n > 30.0) & (truth.elevation_rad < 0.01))
    chain = chain_for(made.recording)
    feed(chain, made.recording, 0, int(pressed[-1] * 1000))
    series = chain.take()
    before = chain.zero()
    assert series is not None
    assert series.contact[-1]

    assert "hand" in before
    feed(chain, made.recording, int(pressed[-1] * 1000), int(pressed[-1] * 1000) + 200_000)
    after = chain.take()
    assert after is not None
    assert after.magnitude_n[0] == pytest.approx(series.magnitude_n[-1], abs=1.0)


def test_a_zero_is_refused_before_anything_was_heard(recording: Recording) -> None:
    assert "too little" in chain_for(recording).zero()


def test_a_second_zero_at_rest_is_taken(recording: Recording) -> None:
    chain = chain_for(recording)
    feed(chain, recording, 0, 3_000_000)
    chain.take()

    assert chain.zero() == ""


def push_steadily(recording: Recording, counts: int, first_s: float) -> Recording:
    stream = recording.streams[FORCE_STREAM]
    pressed = stream.counts.copy()
    pressed[int(first_s * stream.spec.rate_hz) :, 0] += counts
    changed = dataclasses.replace(stream, counts=pressed)
    return dataclasses.replace(recording, streams={**recording.streams, FORCE_STREAM: changed})


def test_a_hand_that_lies_still_is_told_from_a_zero_that_drifted(recording: Recording) -> None:
    """About 2.5 N against the last zero without a tremble: refused with the size."""
    leaning = push_steadily(recording, 50_000, first_s=2.3)
    chain = chain_for(leaning)
    feed(chain, leaning, 0, 3_900_000)
    chain.take()

    assert "N away from the last zero" in chain.zero()


# --- gaps, restarts, a bad gyro ------------------------------------------------------------


def test_a_home_that_leans_reaches_the_uncertainty(told: Maker, bumped: Maker) -> None:
    """By 1.5°, seen at the first zero, and as much as in the recording."""
    made = told("right", 3, "E01", seed=4, repetitions=1, model=SLOW)
    up = np.array([np.sin(np.deg2rad(1.5)), np.cos(np.deg2rad(1.5)), 0.0])
    leaning = bumped(made, [(-1.0, up)]).recording

    plain, live = (play(one, evenly(40.0)) for one in (made.recording, leaning))
    offline = analyse(leaning).series

    def u_deg(series: ResolvedSeries) -> float:
        return float(np.rad2deg(np.median(series.superior_angle_u_rad[series.directed])))

    more = np.sqrt(u_deg(live) ** 2 - u_deg(plain) ** 2)
    assert more == pytest.approx(1.5 / np.sqrt(2.0), abs=0.2)
    assert u_deg(live) == pytest.approx(u_deg(offline), abs=0.05)


def test_a_zero_that_moved_reaches_the_uncertainty(recording: Recording) -> None:
    """Half a newton between two zeros: from the second on a component is uncertain by 0.5/√3."""
    drifted = push_steadily(recording, 10_000, 2.3)
    chain = chain_for(drifted)
    feed(chain, drifted, 0, 2_200_000)
    before = chain.take()
    feed(chain, drifted, 2_200_000, 3_900_000)
    chain.take()
    assert chain.zero() == ""
    feed(chain, drifted, 3_900_000, 12_000_000)
    after = chain.take()

    assert before is not None
    assert after is not None
    assert before.sources is not None
    assert after.sources is not None
    more_n2 = after.sources.force_variance_n2 - before.sources.force_variance_n2
    shift_n = np.linalg.norm(np.array(recording.rig.cell.calibration_matrix)[:3, 0]) * 10_000
    assert np.sqrt(3.0 * more_n2) == pytest.approx(shift_n, abs=0.05)


def test_a_gap_in_the_force_stays_a_gap(recording: Recording) -> None:
    series = play(without(recording, FORCE_STREAM, 4.0, 4.3), evenly(6.0))

    inside = rows_between(series, 4.01, 4.28)
    assert series.missing[inside].all()
    assert np.isnan(series.force_n[inside]).all()
    assert np.isfinite(series.elevation_rad[inside]).all()
    assert np.isfinite(series.force_n[rows_between(series, 4.4, 5.9)]).all()


def test_a_short_gap_of_the_inertial_unit_keeps_the_heading(recording: Recording) -> None:
    series = play(without(recording, IMU_STREAM, 5.0, 5.15), evenly(7.0))

    assert series.missing[rows_between(series, 5.03, 5.12)].all()
    assert series.directed[rows_between(series, 5.3, 6.9)].all()


def test_a_long_gap_of_the_inertial_unit_loses_the_heading_until_the_next_rest(
    told: Maker,
) -> None:
    made = told(seed=7, repetitions=1, model=SLOW)
    home_s = made.rig.truth(np.array([0.0, 1000.0])).repetitions[0].home_s
    recording = without(made.recording, IMU_STREAM, 8.0, 8.8)

    series = play(recording, evenly(made.rig.duration_s))

    up = rows_between(series, 9.0, home_s - 1.5)
    assert not series.directed[up].any()
    assert np.isnan(series.azimuth_rad[up]).all()
    assert np.isfinite(series.superior_angle_rad[up]).all()
    truth = made.rig.truth(series.time_s[up])
    error = np.rad2deg(series.elevation_rad[up] - truth.elevation_rad)
    assert np.sqrt(np.mean(error**2)) < 2.0
    rested = rows_between(series, home_s + 2.0, series.time_s[-1])
    assert np.isfinite(series.azimuth_rad[rested]).all()


def test_a_night_without_a_line_is_no_million_of_empty_rows(recording: Recording) -> None:
    late = 9 * 3_600_000_000
    streams = {
        name: dataclasses.replace(
            stream,
            device_time_us=stream.device_time_us
            + np.where(stream.device_time_us > first_us(recording) + 3_000_000, late, 0),
        )
        for name, stream in recording.streams.items()
    }
    slept = dataclasses.replace(recording, streams=streams)

    series = play(slept, [3_000_000, late + 5_000_000])

    assert len(series) < 1500
    assert series.missing.sum() > 150
    assert series.time_s[-1] == pytest.approx(late * 1e-6 + 5.0, abs=0.1)


def test_a_rig_that_restarted_begins_anew(recording: Recording) -> None:
    """Its clock is back at the start, in the middle of one window that a reader fetches."""
    twice = recording
    for name, stream in recording.streams.items():
        head = np.flatnonzero(stream.device_time_us < first_us(recording) + 2_600_000)
        twice = with_rows(twice, name, np.concatenate([head, head]))
    chain = chain_for(twice)
    for name, stream in twice.streams.items():
        chain.feed(name, stream.device_time_us, stream.counts)

    series = chain.take()

    assert series is not None
    assert chain.status.restarts == 1
    assert (np.diff(series.time_s) > 0.0).all()
    assert series.time_s[-1] == pytest.approx(5.2, abs=0.1)
    known = np.asarray(np.isfinite(series.force_n).all(axis=1))
    assert known[rows_between(series, 2.0, 2.5)].all()
    assert not known[rows_between(series, 2.6, 3.8)].any()
    assert known[rows_between(series, 4.8, 5.1)].all()


def test_repeated_blocks_change_nothing(recording: Recording) -> None:
    chain = chain_for(recording)
    feed(chain, recording, 0, 2_000_000)
    feed(chain, recording, 1_900_000, 2_500_000)

    series = chain.take()

    assert series is not None
    np.testing.assert_array_equal(series.force_n, play(recording, [2_500_000]).force_n)


def test_one_stream_that_falls_silent_does_not_fill_the_memory(recording: Recording) -> None:
    chain = chain_for(recording)
    stream = recording.streams[IMU_STREAM]
    for minute in range(60):
        chain.feed(IMU_STREAM, stream.device_time_us + minute * 60_000_000, stream.counts)

    held = chain._grid._clocks[0]._held[IMU_STREAM]
    assert len(held.time_s) < 30 * stream.spec.rate_hz


def test_an_uncalibrated_gyro_is_found_out_while_the_arm_hangs(told: Maker) -> None:
    """14 °/s at most on each axis, where the orientation filter expects 2."""
    made = told(seed=7, repetitions=1, model=BIASED)

    series = play(made.recording, evenly(made.rig.duration_s))

    truth = made.rig.truth(series.time_s)
    firm = series.directed & (truth.magnitude_n > 30.0)
    assert firm.sum() > 0.9 * (truth.magnitude_n > 30.0).sum()
    error = np.rad2deg(series.elevation_rad - truth.elevation_rad)[firm]
    assert np.sqrt(np.mean(error**2)) < 0.5
