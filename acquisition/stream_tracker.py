"""Follows the numbering of one stream: what is next, what is missing, what comes twice."""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.blocks import StreamBlock, joined_blocks, stream_block, wire_table
from firmware_protocol.codec import bytes_per_sample
from firmware_protocol.messages import SampleBlock, StreamSpec

SEQUENCE_MODULUS = 2**32
MAX_TIME_US = 2**62
"""A device time beyond this (146 000 years) is nonsense, and would overflow further on."""
PLAIN_TIME_US = MAX_TIME_US - 2**32
"""Before it no block reaches beyond, whatever its span."""
RATE_WINDOW_US = 1_000_000
RECENT_GAPS = 64
"""A block that comes later than so many gaps is taken for a repetition."""


@dataclass(frozen=True, slots=True)
class Tracked:
    """What became of a block of the wire.

    Attributes:
        block: It as arrays, or None if it is not to be used.
        lost: Samples missing between the block before and this one.
        repeated: Samples that came before; they are not passed on twice.
        reordered: Samples told lost with a block before, that come now, too late.
    """

    block: StreamBlock | None
    lost: int = 0
    repeated: int = 0
    reordered: int = 0


class StreamTracker:
    """Unwraps the numbers of one stream in one segment, and accounts for every one.

    Sample numbers count from 0 at start. A block that begins before the number expected next
    is dropped whole, so that block numbers only ever rise and whoever looks on live sees no
    sample after a later one. If it lies in a recent gap it comes out of order, and its samples
    were not lost on the line; else it is a repetition, and should it have held something new,
    that shows as lost with the block after.

    Args:
        spec: The stream.
        segment: Which stretch of the recording.

    Attributes:
        spec: The stream.
        rate_hz: Its rate by the rig's clock, over about a second; None before.
        last_us: The rig's clock at its last sample, 0 before the first.
    """

    def __init__(self, spec: StreamSpec, segment: int) -> None:
        self.spec = spec
        self._segment = segment
        self._next = 0
        self.last_us = 0
        self._gaps: deque[range] = deque(maxlen=RECENT_GAPS)
        self._rate_from: tuple[int, int] | None = None
        self.rate_hz: float | None = None

    def fits(self, raw: SampleBlock) -> bool:
        """Tell whether a block has the shape that the stream table asks for."""
        right_size = len(raw.data) == raw.sample_count * bytes_per_sample(self.spec)
        return right_size and raw.device_time_us + raw.span_us < MAX_TIME_US

    def clock_went_back(self, raw: SampleBlock) -> bool:
        """Tell whether a block that continues the numbering is older than the one before it.

        Then the rig has restarted. A repetition is old by nature, and says nothing.
        """
        return self._ahead(raw) >= 0 and raw.device_time_us < self.last_us

    def take(self, raw: SampleBlock, arrival_ns: int) -> Tracked:
        """Take a block that `fits`."""
        ahead = self._ahead(raw)
        number = self._next + ahead
        if ahead < 0:
            count = raw.sample_count
            late = self._filled(range(number, number + count))
            return Tracked(None, reordered=count) if late else Tracked(None, repeated=count)
        if ahead:
            self._gaps.append(range(self._next, number))
        block = stream_block(
            raw,
            self.spec,
            sample_number=number,
            arrival_ns=arrival_ns,
            segment=self._segment,
        )
        self._advance(block)
        return Tracked(block, lost=ahead)

    def plain_run(self, sealed: Sequence[bytes], arrival_ns: int) -> StreamBlock | None:
        """Return sample blocks as arrays if there is nothing to say of any of them.

        Args:
            sealed: Payloads of this stream with their checksums, in the order in which they came.
            arrival_ns: When that was.

        Returns:
            None unless all `fits`, have one size, each begins where the one before ends, and
            no clock goes back: then `take` them one by one. Otherwise, to be taken, it must go
            to `accept_run`.
        """
        table = wire_table(sealed, self.spec)
        if table is None or not self._continues(table):
            return None
        block = joined_blocks(
            table,
            self.spec,
            sample_number=self._next,
            arrival_ns=arrival_ns,
            segment=self._segment,
        )
        return block if self._time_goes_on(block.device_time_us) else None

    def accept_run(self, block: StreamBlock) -> None:
        """Take what `plain_run` has just found plain."""
        self._advance(block)

    def _continues(self, table: NDArray[np.void]) -> bool:
        """Tell whether each block holds as many samples as it says and begins with the next.

        Numbers that wrap within the run do not.
        """
        rows, count, _ = table["values"].shape
        begin = self._next % SEQUENCE_MODULUS
        end = begin + rows * count
        if end >= SEQUENCE_MODULUS or table["sample_count"].tobytes() != bytes((count,)) * rows:
            return False
        expected = np.arange(begin, end, count, dtype=np.uint32)
        # As bytes: quicker for a few than to compare arrays.
        return table["sequence"].astype(np.uint32).tobytes() == expected.tobytes()

    def _time_goes_on(self, times_us: NDArray[np.int64]) -> bool:
        """Tell whether times rise from the last on. Then none of them has overflowed either."""
        return (
            self.last_us <= int(times_us[0])
            and int(times_us[-1]) < PLAIN_TIME_US
            and not np.count_nonzero(times_us[1:] < times_us[:-1])
        )

    def _advance(self, block: StreamBlock) -> None:
        self._next = block.sample_number + len(block)
        self.last_us = block.end_us
        self._measure_rate(block)

    def _filled(self, late: range) -> bool:
        """Tell whether samples lie in a gap; what is left of it stays one."""
        for at, gap in enumerate(self._gaps):
            if gap.start <= late.start and late.stop <= gap.stop:
                rest = range(gap.start, late.start), range(late.stop, gap.stop)
                gaps = [*self._gaps]
                gaps[at : at + 1] = [part for part in rest if part]
                self._gaps = deque(gaps, maxlen=RECENT_GAPS)
                return True
        return False

    def _ahead(self, raw: SampleBlock) -> int:
        difference = (raw.sequence - self._next) % SEQUENCE_MODULUS
        return difference - SEQUENCE_MODULUS * (difference >= SEQUENCE_MODULUS // 2)

    def _measure_rate(self, block: StreamBlock) -> None:
        """Compare block beginnings that are a second or more apart."""
        if self._rate_from is None:
            self._rate_from = (block.sample_number, int(block.device_time_us[0]))
        if block.end_us < self._rate_from[1] + RATE_WINDOW_US:
            return
        count = len(block) // len(block.wire)
        begins_us = block.device_time_us[::count]
        while self._rate_from[1] + RATE_WINDOW_US <= begins_us[-1]:
            first, first_us = self._rate_from
            at = bisect_left(begins_us, first_us + RATE_WINDOW_US)
            self._rate_from = (block.sample_number + at * count, int(begins_us[at]))
            self.rate_hz = (self._rate_from[0] - first) * 1e6 / (self._rate_from[1] - first_us)
