"""Sample blocks of the wire as arrays."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from firmware_protocol.codec import BLOCK_HEAD_BYTES, BLOCK_TYPE, bytes_per_sample
from firmware_protocol.framing import CHECKSUM
from firmware_protocol.messages import SampleBlock, SampleType, StreamSpec

WIRE_DTYPES: dict[SampleType, np.dtype[np.signedinteger]] = {
    SampleType.INT16: np.dtype("<i2"),
    SampleType.INT32: np.dtype("<i4"),
}
"""How one value lies in a block and in a recording."""

HEAD_FIELDS = (
    ("type", "u1"),
    ("stream_id", "u1"),
    ("sequence", "<u4"),
    ("device_time_us", "<u8"),
    ("span_us", "<u4"),
    ("sample_count", "u1"),
)
"""What stands before the data in the payload of a block, as PROTOCOL.md has it."""


@dataclass(frozen=True, slots=True)
class StreamBlock:
    """Consecutive samples of one stream, as arrays that cannot be changed.

    They came in one block of the wire, or in several of one size without a gap.

    Attributes:
        spec: The stream as the rig described it.
        sample_number: Number of the first sample since start, unwrapped to 64 bit.
        device_time_us: Shape (n,), the rig's clock, one for each sample.
        counts: Shape (n, channels), raw.
        arrival_ns: Host monotonic clock when the samples had come.
        segment: Counts up when the rig or the line came back anew.
        wire: One row for each block of the wire: `HEAD_FIELDS` and ``values``.
    """

    spec: StreamSpec
    sample_number: int
    device_time_us: NDArray[np.int64]
    counts: NDArray[np.int32]
    arrival_ns: int
    segment: int
    wire: NDArray[np.void] = field(repr=False)

    def __len__(self) -> int:
        return len(self.counts)

    @property
    def end_us(self) -> int:
        """Time of the last sample."""
        return int(self.device_time_us[-1])

    def wire_blocks(self) -> Iterator[SampleBlock]:
        """Yield what the wire said, oldest first."""
        heads = (self.wire[name].tolist() for name, _ in HEAD_FIELDS[1:])
        for row, values in zip(zip(*heads, strict=True), self.wire["values"], strict=True):
            stream_id, sequence, device_time_us, span_us, count = row
            data = values.tobytes()
            yield SampleBlock(stream_id, sequence, device_time_us, span_us, count, data)


def wire_table(sealed: Sequence[bytes], spec: StreamSpec) -> NDArray[np.void] | None:
    """Return the payloads of some sample blocks as a table, for `joined_blocks`.

    What the heads say is not looked at.

    Args:
        sealed: The payloads, each with its checksum behind it.
        spec: The stream's row of the stream table.

    Returns:
        One row for each payload; None if they are not all of one size with room for whole
        samples.
    """
    size = len(sealed[0])
    data_bytes = size - BLOCK_HEAD_BYTES - CHECKSUM.size
    count, left = divmod(data_bytes, bytes_per_sample(spec))
    if count < 1 or left or set(map(len, sealed)) != {size}:
        return None
    dtype = _row_dtype(spec.sample_type, count, len(spec.channels), sealed=True)
    return np.frombuffer(b"".join(sealed), dtype=dtype)


def joined_blocks(
    table: NDArray[np.void],
    spec: StreamSpec,
    *,
    sample_number: int,
    arrival_ns: int,
    segment: int,
) -> StreamBlock:
    """Return blocks that follow each other without a gap as arrays.

    Args:
        table: Of `wire_table`; each row has as many samples as its head says.
        spec: The stream's row of the stream table.
        sample_number: Unwrapped number of the first sample.
        arrival_ns: When they came.
        segment: Which stretch of the recording they belong to.
    """
    values = table["values"]
    count = values.shape[1]
    begins_us = table["device_time_us"].astype(np.int64)[:, None]
    times = begins_us + _within_blocks_us(table["span_us"], count)
    counts = values.astype(np.int32).reshape(-1, len(spec.channels))
    device_time_us = times.reshape(-1)
    for array in (device_time_us, counts):
        array.setflags(write=False)
    return StreamBlock(spec, sample_number, device_time_us, counts, arrival_ns, segment, table)


def stream_block(
    raw: SampleBlock, spec: StreamSpec, *, sample_number: int, arrival_ns: int, segment: int
) -> StreamBlock:
    """Return one block as arrays.

    Args:
        raw: A block whose data have the length that *spec* and its sample count ask for.
        spec: Its row of the stream table.
        sample_number: Unwrapped number of its first sample.
        arrival_ns: When it came.
        segment: Which stretch of the recording it belongs to.
    """
    dtype = _row_dtype(spec.sample_type, raw.sample_count, len(spec.channels))
    values = np.frombuffer(raw.data, dtype=dtype["values"])[0]
    head = (raw.stream_id, raw.sequence, raw.device_time_us, raw.span_us, raw.sample_count)
    table = np.array([(BLOCK_TYPE, *head, values)], dtype=dtype)
    table.flags.writeable = False
    return joined_blocks(
        table, spec, sample_number=sample_number, arrival_ns=arrival_ns, segment=segment
    )


@lru_cache(maxsize=256)
def _row_dtype(
    sample_type: SampleType, count: int, channels: int, *, sealed: bool = False
) -> np.dtype[np.void]:
    values = ("values", WIRE_DTYPES[sample_type], (count, channels))
    return np.dtype([*HEAD_FIELDS, values, *([("checksum", "<u4")] if sealed else [])])


def _within_blocks_us(spans_us: NDArray[np.uint32], count: int) -> NDArray[np.int64]:
    """Return how long after the first sample of its block each one came.

    Returns:
        Shape (blocks, count), or (count,) if it is the same in all, as a steady rig has it.
    """
    if spans_us.tobytes() == spans_us[:1].tobytes() * len(spans_us):
        return _within_a_block_us(int(spans_us[0]), count)
    return np.asarray(spans_us[:, None] * np.arange(count) // max(count - 1, 1))


@lru_cache(maxsize=256)
def _within_a_block_us(span_us: int, count: int) -> NDArray[np.int64]:
    within = span_us * np.arange(count) // max(count - 1, 1)
    within.setflags(write=False)
    return within


def sample_times_us(
    first_us: NDArray[np.int64] | list[int],
    span_us: NDArray[np.int64] | list[int],
    sample_count: NDArray[np.int64] | list[int],
) -> NDArray[np.int64]:
    """Return the device time of every sample of some blocks, joined, shape (sum of counts,).

    The rig stamps the first and the last sample of a block; those between lie evenly, rounded
    down to the microsecond.

    Args:
        first_us: Time of the first sample of each block.
        span_us: From the first to the last sample of each.
        sample_count: Samples of each, at least one.
    """
    counts = np.asarray(sample_count, dtype=np.int64)
    # In place: an hour's arrays are slow to come by.
    times = np.arange(counts.sum())
    times -= np.repeat(np.cumsum(counts) - counts, counts)
    times *= np.repeat(np.asarray(span_us, dtype=np.int64), counts)
    times //= np.repeat(np.maximum(counts - 1, 1), counts)
    times += np.repeat(np.asarray(first_us, dtype=np.int64), counts)
    return times
