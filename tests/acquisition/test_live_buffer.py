"""The live ring: every reader sees all there is, or is told how much went by."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquisition.live_buffer import MAX_ROWS, LiveBuffer
from firmware_protocol.messages import SampleType, StreamSpec

ROWS = 50  # 0.05 s at 1 kHz


@pytest.fixture
def buffer() -> LiveBuffer:
    return LiveBuffer(seconds=ROWS / 1000)


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    steps=st.lists(
        st.one_of(
            st.tuples(st.just("write"), st.integers(1, 120)),
            st.tuples(st.just("read"), st.integers(0, 1)),
        ),
        max_size=40,
    )
)
def test_two_readers_see_everything_or_are_told(
    make_block: Any, force_spec: StreamSpec, steps: list[tuple[str, int]]
) -> None:
    buffer = LiveBuffer(seconds=ROWS / 1000)
    written, cursors, accounted = 0, [0, 0], [0, 0]
    for verb, number in steps:
        if verb == "write":
            buffer.on_block(make_block(force_spec, written, number))
            written += number
            continue
        window = buffer.since("force", cursors[number])
        cursors[number] = window.cursor
        accounted[number] += window.missed + len(window.counts)
        assert accounted[number] == written
        expected = np.arange(written - len(window.counts), written)
        assert np.array_equal(window.sample_number, expected)
        assert np.array_equal(window.device_time_us, expected * 1000)
        if len(expected):
            assert np.array_equal(window.counts[:, 2], (expected * 10 + 2) % 2**15)
        assert len(window.counts) <= ROWS


def test_nothing_new_is_an_empty_window(
    buffer: LiveBuffer, make_block: Any, force_spec: StreamSpec
) -> None:
    buffer.on_block(make_block(force_spec, 0, 10))
    first = buffer.since("force", 0)

    again = buffer.since("force", first.cursor)

    assert len(first.counts) == 10
    assert again.counts.shape == (0, 3)
    assert again.missed == 0


def test_a_stream_that_has_not_spoken_has_nothing_new(buffer: LiveBuffer) -> None:
    window = buffer.since("imu", 0)

    assert (len(window.counts), window.cursor, window.missed) == (0, 0, 0)
    assert buffer.streams() == ()


def test_a_late_reader_may_begin_with_what_comes_from_now_on(
    buffer: LiveBuffer, make_block: Any, force_spec: StreamSpec
) -> None:
    buffer.on_block(make_block(force_spec, 0, 10))
    now = buffer.since("force", -1)
    buffer.on_block(make_block(force_spec, 10, 3))

    later = buffer.since("force", now.cursor)

    assert (len(now.counts), now.missed) == (0, 0)
    assert later.sample_number.tolist() == [10, 11, 12]


def test_a_window_is_a_copy(buffer: LiveBuffer, make_block: Any, force_spec: StreamSpec) -> None:
    buffer.on_block(make_block(force_spec, 0, 10))
    window = buffer.since("force", 0)
    window.counts[:] = -1

    assert buffer.since("force", 0).counts[0].tolist() == [0, 1, 2]


def test_segments_stay_with_their_samples(
    buffer: LiveBuffer, make_block: Any, force_spec: StreamSpec
) -> None:
    buffer.on_block(make_block(force_spec, 0, 2))
    buffer.on_block(make_block(force_spec, 0, 2, segment=1))

    window = buffer.since("force", 0)

    assert window.segment.tolist() == [0, 0, 1, 1]
    assert window.sample_number.tolist() == [0, 1, 0, 1]


def test_a_rig_that_boasts_of_its_rate_gets_no_more_memory(
    make_block: Any, force_spec: StreamSpec
) -> None:
    boastful = StreamSpec(3, "x", SampleType.INT16, 1e9, force_spec.channels)
    buffer = LiveBuffer(seconds=100.0)
    buffer.on_block(make_block(boastful, 0, 1))

    assert len(buffer._rings["x"]._counts) == MAX_ROWS


def test_reading_while_another_thread_writes_never_mixes_rows(
    make_block: Any, force_spec: StreamSpec
) -> None:
    buffer = LiveBuffer(seconds=0.1)
    blocks = [make_block(force_spec, first, 7) for first in range(0, 7000, 7)]

    def write() -> None:
        for block in blocks:
            buffer.on_block(block)

    writer = threading.Thread(target=write)
    writer.start()
    cursor = seen = 0
    while seen < 7000:
        window = buffer.since("force", cursor)
        cursor, seen = window.cursor, seen + len(window.counts) + window.missed
        assert np.array_equal(window.counts[:, 0], window.sample_number * 10 % 2**15)
    writer.join(timeout=10)

    assert seen == 7000
