"""Stream tables that break a rule: each is told with what and where."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from firmware_protocol.messages import ChannelSpec, SampleType, StreamSpec
from firmware_protocol.table import fault_of_table

CHANNEL = ChannelSpec("fx", "count", 1.0, -100, 100)
FORCE = StreamSpec(1, "force", SampleType.INT32, 1000.0, (CHANNEL,))
IMU = StreamSpec(2, "imu", SampleType.INT16, 500.0, (CHANNEL,))


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"channels": ()}, "stream 'force' has 0 channels"),
        ({"channels": (CHANNEL,) * 65}, "stream 'force' has 65 channels"),
        ({"rate_hz": 0.0}, "stream 'force' has a rate of 0.0 Hz"),
        ({"rate_hz": float("nan")}, "stream 'force' has a rate of nan Hz"),
        ({"stream_id": 255}, "stream 'force' has number 255"),
        ({"stream_id": -1}, "stream 'force' has number -1"),
        ({"name": ""}, "stream 1 has the name ''"),
        ({"name": "a\0"}, "stream 1 has the name 'a\\x00'"),
        ({"stream_id": 2}, "two streams have the same number 2"),
        ({"name": "imu"}, "two streams have the same name 'imu'"),
        ({"channels": (CHANNEL,) * 2}, "two channels of stream 'force' have the same name 'fx'"),
    ],
)
def test_what_is_wrong_with_a_stream_is_told(change: dict[str, Any], text: str) -> None:
    broken = replace(FORCE, **change)

    for table in ((broken, IMU), (IMU, broken)):
        fault = fault_of_table(table)
        assert fault is not None
        assert fault.text == text or "two streams" in fault.text


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"name": "f\nx"}, "a channel of stream 'force' has the name 'f\\nx'"),
        ({"unit": "\x7f"}, "channel 'fx' of stream 'force' has the unit '\\x7f'"),
        ({"scale": -0.0}, "channel 'fx' of stream 'force' has a scale of -0.0"),
        ({"scale": float("inf")}, "channel 'fx' of stream 'force' has a scale of inf"),
        ({"count_min": 100}, "channel 'fx' of stream 'force' has its rails at 100 and 100"),
    ],
)
def test_what_is_wrong_with_a_channel_is_told(change: dict[str, Any], text: str) -> None:
    broken = replace(FORCE, channels=(replace(CHANNEL, **change),))

    fault = fault_of_table((broken, IMU))

    assert fault is not None
    assert fault.text == text


def test_a_table_has_1_to_32_streams() -> None:
    many = tuple(replace(FORCE, stream_id=n, name=f"s{n}") for n in range(33))

    assert fault_of_table(many[:32]) is None
    for table, text in (((), "it has no streams"), (many, "it has 33 streams")):
        fault = fault_of_table(table)
        assert fault is not None
        assert fault.text == text
