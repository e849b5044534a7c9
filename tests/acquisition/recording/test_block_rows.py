"""Many blocks at once become the rows that each of them becomes by itself."""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquisition.blocks import StreamBlock, joined_blocks, wire_table
from acquisition.recording.block_rows import block_rows
from acquisition.recording.layout import block_row
from firmware_protocol.codec import encode
from firmware_protocol.framing import FrameDecoder, FrameFault, encode_frame
from firmware_protocol.messages import Identity

SEGMENTS = st.lists(
    st.tuples(
        st.integers(0, 2**40),  # where it begins
        st.integers(1, 5),  # blocks of the wire
        st.integers(1, 12),  # samples in each
        st.booleans(),  # heard in one read
        st.integers(0, 3),  # segment
    ),
    min_size=1,
    max_size=6,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(made=SEGMENTS, which=st.integers(0, 1))
def test_blocks_of_any_make_become_the_rows_they_become_one_by_one(
    make_raw: Any, make_block: Any, identity: Identity, made: Any, which: int
) -> None:
    spec = identity.streams[which]
    blocks: list[StreamBlock] = []
    for arrival_ns, (first, rows, count, at_once, segment) in enumerate(made):
        firsts = range(first, first + rows * count, count)
        if at_once:
            line = b"".join(encode_frame(encode(make_raw(spec, n, count))) for n in firsts)
            table = wire_table(whole(FrameDecoder().feed_sealed(line)), spec)
            assert table is not None
            place = {"sample_number": first, "arrival_ns": arrival_ns, "segment": segment}
            blocks.append(joined_blocks(table, spec, **place))
        else:
            place = {"arrival_ns": arrival_ns, "segment": segment}
            blocks += [make_block(spec, n, count, **place) for n in firsts]

    counts, rows_bytes = block_rows(blocks)

    assert counts == b"".join(raw.data for block in blocks for raw in block.wire_blocks())
    assert rows_bytes == b"".join(each for block in blocks for each in rows_one_by_one(block))


def whole(items: list[bytes | FrameFault]) -> list[bytes]:
    return [item for item in items if isinstance(item, bytes)]


def rows_one_by_one(block: StreamBlock) -> list[bytes]:
    rows, number = [], block.sample_number
    for raw in block.wire_blocks():
        rows.append(
            block_row(
                sample_number=number,
                device_time_us=raw.device_time_us,
                span_us=raw.span_us,
                sample_count=raw.sample_count,
                arrival_ns=block.arrival_ns,
                segment=block.segment,
                data=raw.data,
            )
        )
        number += raw.sample_count
    return rows
