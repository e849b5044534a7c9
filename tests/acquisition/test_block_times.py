"""The times of one block, reckoned the quick way, are those of many."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from acquisition.blocks import sample_times_us, stream_block
from firmware_protocol.messages import ChannelSpec, SampleBlock, SampleType, StreamSpec

SPEC = StreamSpec(
    1, "force", SampleType.INT16, 1000.0, (ChannelSpec("fx", "count", 1.0, -100, 100),)
)


@given(
    first_us=st.integers(0, 2**62 - 1),
    span_us=st.integers(0, 2**32 - 1),
    count=st.integers(1, 255),
)
def test_one_block_has_the_times_of_the_wire(first_us: int, span_us: int, count: int) -> None:
    """Sample i of n was taken at device_time + ⌊i · span / (n − 1)⌋, says PROTOCOL.md."""
    raw = SampleBlock(1, 0, first_us, span_us if count > 1 else 0, count, bytes(2 * count))

    block = stream_block(raw, SPEC, sample_number=0, arrival_ns=0, segment=0)

    wanted = [first_us + i * raw.span_us // max(count - 1, 1) for i in range(count)]
    assert block.device_time_us.tolist() == wanted
    np.testing.assert_array_equal(
        sample_times_us([first_us], [raw.span_us], [count]), block.device_time_us
    )
    assert not block.device_time_us.flags.writeable
