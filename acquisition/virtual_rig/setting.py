"""How the streams of a virtual rig are sampled and sent, and what a host may change of it."""

from __future__ import annotations

from dataclasses import dataclass

from acquisition.virtual_rig.sender import Sender, natural_block
from acquisition.virtual_rig.virtual_rig import VirtualStream
from firmware_protocol.codec import samples_per_frame
from firmware_protocol.messages import StreamSpec

MIN_RATE_HZ, MAX_RATE_HZ = 10.0, 2000.0
"""What its converters can do; anything in between."""


@dataclass(frozen=True, slots=True)
class StreamSetting:
    """One stream as it will be from the next start on.

    Attributes:
        stream: Its samples, at the rate that is set.
        block_samples: Samples in a block.
    """

    stream: VirtualStream
    block_samples: int

    @property
    def spec(self) -> StreamSpec:
        """Its row of the stream table."""
        return self.stream.spec

    def configured(self, rate_hz: float, block_samples: int) -> StreamSetting:
        """Return the nearest there is to another rate and size; 0 samples: as the rig likes."""
        stream = self.stream.at_rate(min(max(rate_hz, MIN_RATE_HZ), MAX_RATE_HZ))
        wanted = block_samples or natural_block(stream.spec)
        return StreamSetting(stream, min(wanted, samples_per_frame(stream.spec)))

    def sender(self, start_us: int) -> Sender:
        """Return what sends it from a start at this device time on."""
        return Sender(self.stream, start_us, self.block_samples)


def settings_of(streams: tuple[VirtualStream, ...]) -> dict[int, StreamSetting]:
    """Return how streams are after power-up, by number."""
    return {s.spec.stream_id: StreamSetting(s, natural_block(s.spec)) for s in streams}
