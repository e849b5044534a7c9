"""Sample blocks of the wire as arrays."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from firmware_protocol.messages import SampleBlock, SampleType, StreamSpec

WIRE_DTYPES: dict[SampleType, np.dtype[np.signedinteger]] = {
    SampleType.INT16: np.dtype("<i2"),
    SampleType.INT32: np.dtype("<i4"),
}
"""How one value lies in a block and in a recording."""


@dataclass(frozen=True, slots=True)
class StreamBlock:
    """Consecutive samples of one stream, as arrays that cannot be changed.

    Attributes:
        spec: The stream as the rig described it.
        sample_number: Number of the first sample since start, unwrapped to 64 bit.
        device_time_us: Shape (n,), the rig's clock, one for each sample.
        counts: Shape (n, channels), raw.
        arrival_ns: Host monotonic clock when the block had come.
        segment: Counts up when the rig or the line came back anew.
        raw: What the wire said.
    """

    spec: StreamSpec
    sample_number: int
    device_time_us: NDArray[np.int64]
    counts: NDArray[np.int32]
    arrival_ns: int
    segment: int
    raw: SampleBlock = field(repr=False)

    def __len__(self) -> int:
        return len(self.counts)


def stream_block(
    raw: SampleBlock, spec: StreamSpec, *, sample_number: int, arrival_ns: int, segment: int
) -> StreamBlock:
    """Return *raw* as arrays.

    Args:
        raw: A block whose data have the length that *spec* and its sample count ask for.
        spec: Its row of the stream table.
        sample_number: Unwrapped number of its first sample.
        arrival_ns: When it came.
        segment: Which stretch of the recording it belongs to.
    """
    # One block a call, a hundred times a second: plain steps, not those for many blocks.
    times = raw.device_time_us + raw.span_us * _ramp(raw.sample_count) // max(
        raw.sample_count - 1, 1
    )
    values = sample_values(raw.data, spec)
    times.flags.writeable = False
    return StreamBlock(spec, sample_number, times, values, arrival_ns, segment, raw)


@lru_cache(maxsize=256)
def _ramp(count: int) -> NDArray[np.int64]:
    """Return 0 to count − 1. A block has at most 255 samples, so all of them are kept."""
    ramp = np.arange(count, dtype=np.int64)
    ramp.flags.writeable = False
    return ramp


def sample_values(data: bytes, spec: StreamSpec) -> NDArray[np.int32]:
    """Return the counts in *data*, read-only, shape (n, channels).

    Raises:
        ValueError: *data* does not hold whole rows.
    """
    flat = np.frombuffer(data, dtype=WIRE_DTYPES[spec.sample_type])
    counts: NDArray[np.int32] = flat.reshape(-1, len(spec.channels)).astype(np.int32)
    counts.flags.writeable = False
    return counts


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
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    spans = np.repeat(np.asarray(span_us, dtype=np.int64), counts)
    steps = np.repeat(np.maximum(counts - 1, 1), counts)
    times: NDArray[np.int64] = np.repeat(np.asarray(first_us, dtype=np.int64), counts)
    times += spans * within // steps
    return times
