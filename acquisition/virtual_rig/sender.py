"""Cuts one stream of a virtual rig into the sample blocks that go over the wire."""

from __future__ import annotations

from acquisition.blocks import WIRE_DTYPES
from acquisition.virtual_rig.virtual_rig import VirtualStream
from firmware_protocol.codec import samples_per_frame
from firmware_protocol.messages import SampleBlock, StreamSpec

BLOCK_S = 0.01
"""Time covered by a block: a live picture may be 50 ms late at most, frames cost bytes."""


def natural_block(spec: StreamSpec) -> int:
    """Return how many samples a block has unless a host wants it otherwise."""
    return max(1, min(round(spec.rate_hz * BLOCK_S), samples_per_frame(spec)))


class Sender:
    """Where the sending of one stream stands.

    Args:
        stream: What to send.
        start_us: Device time of its time 0.
        block_samples: Samples in a block.

    Attributes:
        size: Samples of the next block, 0 at the end of the trial.
        due_us: Device time of the last sample of the next block: then it can go.
    """

    def __init__(self, stream: VirtualStream, start_us: int, block_samples: int) -> None:
        self.spec = stream.spec
        self._stream = stream
        self._start_us = start_us
        self._sent = 0
        self._block_size = block_samples
        self._look_ahead()

    def block(self, *, rail_until_us: int) -> SampleBlock:
        """Return the next block.

        Args:
            rail_until_us: Before this the first channel stands at its upper rail.
        """
        size, first_us = self.size, self._time_us(self._sent)
        counts = self._stream.counts(self._sent, size)
        if first_us < rail_until_us:
            counts[:, 0] = self.spec.channels[0].count_max
        return SampleBlock(
            self.spec.stream_id,
            self._sent % 2**32,
            first_us,
            self.due_us - first_us,
            size,
            counts.astype(WIRE_DTYPES[self.spec.sample_type]).tobytes(),
        )

    def skip(self) -> int:
        """Go on to the block after; return how many samples that passes."""
        size = self.size
        self._sent += size
        self._look_ahead()
        return size

    def _look_ahead(self) -> None:
        self.size = int(min(self._block_size, self._stream.sample_count - self._sent))
        self.due_us = self._time_us(self._sent + self.size - 1)

    def _time_us(self, number: int) -> int:
        return self._start_us + round(self._stream.moment_s(number) * 1e6)
