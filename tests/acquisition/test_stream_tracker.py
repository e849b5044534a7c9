"""Numbers of the wire unwrapped: whatever is sent, every sample is accounted for."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquisition.blocks import sample_times_us, stream_block
from acquisition.stream_tracker import StreamTracker
from firmware_protocol.messages import SampleBlock, StreamSpec


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    start=st.sampled_from([0, 2**32 - 100, 3 * 2**32 - 7]),
    plan=st.lists(st.tuples(st.integers(1, 60), st.integers(0, 200), st.booleans()), max_size=40),
)
def test_kept_lost_and_repeated_add_up_past_every_wrap(
    make_raw: Any, force_spec: StreamSpec, start: int, plan: list[tuple[int, int, bool]]
) -> None:
    tracker = StreamTracker(force_spec, 0)
    tracker._next = number = start
    kept = lost = repeated = sent_twice = 0
    for count, gap, twice in plan:
        number += gap
        raw = make_raw(force_spec, number, count)
        for _ in range(1 + twice):
            tracked = tracker.take(raw, 0)
            lost += tracked.lost
            repeated += tracked.repeated
            if tracked.block is not None:
                assert tracked.block.sample_number == number
                kept += len(tracked.block)
        sent_twice += count * twice
        number += count

    assert lost == sum(gap for _, gap, _ in plan)
    assert repeated == sent_twice
    assert start + kept + lost == number


def test_a_block_that_overlaps_is_dropped_and_its_news_shows_as_lost(
    make_raw: Any, force_spec: StreamSpec
) -> None:
    tracker = StreamTracker(force_spec, 0)
    tracker.take(make_raw(force_spec, 0, 20), 0)

    overlap = tracker.take(make_raw(force_spec, 10, 20), 0)
    after = tracker.take(make_raw(force_spec, 30, 20), 0)

    assert (overlap.block, overlap.repeated) == (None, 20)
    assert after.lost == 10


def test_a_rig_s_clock_that_goes_back_is_told_from_a_repetition(
    make_raw: Any, force_spec: StreamSpec
) -> None:
    tracker = StreamTracker(force_spec, 0)
    old, new = make_raw(force_spec, 100, 20), make_raw(force_spec, 120, 20)
    tracker.take(old, 0)
    tracker.take(new, 0)

    assert not tracker.clock_went_back(old)
    assert tracker.clock_went_back(replace(new, sequence=140, device_time_us=5))


@pytest.mark.parametrize(
    "change",
    [{"data": b"\0" * 7}, {"data": b"\0" * 244}, {"device_time_us": 2**63}],
    ids=["too short", "too long", "no time"],
)
def test_a_block_of_another_shape_does_not_fit(
    make_raw: Any, force_spec: StreamSpec, change: dict[str, Any]
) -> None:
    raw: SampleBlock = make_raw(force_spec, 0, 20)

    assert StreamTracker(force_spec, 0).fits(raw)
    assert not StreamTracker(force_spec, 0).fits(replace(raw, **change))


def test_the_rate_is_measured_by_the_rig_s_own_clock(make_raw: Any, force_spec: StreamSpec) -> None:
    tracker = StreamTracker(force_spec, 0)
    for first in range(0, 3000, 20):
        raw = make_raw(force_spec, first, 20)
        slow = replace(raw, device_time_us=raw.device_time_us * 10 // 9)
        tracker.take(slow, 0)

    assert tracker.rate_hz == pytest.approx(900.0, rel=1e-4)


def test_times_lie_evenly_between_the_first_and_the_last_sample() -> None:
    times = sample_times_us([100, 7000], [10, 0], [4, 1])

    assert times.tolist() == [100, 103, 106, 110, 7000]


def test_counts_are_signed_and_little_endian(force_spec: StreamSpec, imu_spec: StreamSpec) -> None:
    narrow = counts_of(bytes.fromhex("ff7f 0080 ffff 0100 0002 feff"), imu_spec)
    wide = counts_of(bytes.fromhex("ffffff7f 00000080 fffffffe"), force_spec)

    assert narrow.tolist() == [[32767, -32768, -1, 1, 512, -2]]
    assert wide.tolist() == [[2**31 - 1, -(2**31), -16777217]]
    assert narrow.dtype == wide.dtype == np.int32


def counts_of(data: bytes, spec: StreamSpec) -> NDArray[np.int32]:
    raw = SampleBlock(spec.stream_id, 0, 0, 0, 1, data)
    return stream_block(raw, spec, sample_number=0, arrival_ns=0, segment=0).counts
