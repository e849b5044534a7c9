"""The push as a stream for other programs of a lab: what is sent, and when it happened.

The stamps are those of the samples: the rig's clock mapped to the host's and from there to the
receivers'. Neither the wait for a block to fill, nor the line, nor the filter's delay is in them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from acquisition.blocks import StreamBlock
from acquisition.clock_fit import SyncExchange
from acquisition.live_clock import LiveClock
from acquisition.recording.model import LinkCounts
from acquisition.rig import RigDescription
from acquisition.sinks import SinkBase
from analysis.live_chain import LiveChain
from analysis.series import ResolvedSeries
from analysis.target import Target
from firmware_protocol.messages import Identity

Floats = NDArray[np.float64]

CHANNELS = (
    ("azimuth", "degrees"),
    ("superior_angle", "degrees"),
    ("off_axis", "degrees"),
    ("superior_component", "newtons"),
    ("magnitude", "newtons"),
    ("elevation", "degrees"),
    ("valid", "boolean"),
)
"""Name and unit of each value of a sample. The three angles are NaN where *valid* is 0: the push
is too light, or unknown, and has no direction. The others are NaN where they are not known."""


class Outlet(Protocol):
    """Where samples go."""

    def push(self, values: Floats, host_ns: Floats) -> None:
        """Send samples, shape (n, channels), with their times by the host's monotonic clock."""
        ...

    def close(self) -> None:
        """End the stream."""
        ...


class LabStream(SinkBase):
    """Resolves what a session says and sends it on.

    Args:
        rig: The rig description.
        identity: What the rig says of itself.
        target: What to resolve against.
        open_outlet: Makes what takes the samples, told their rate in hertz; closed at the end.
        critical: Whether the session is worth nothing without it.

    Raises:
        NotAnalysable: The rig does not offer what a direction needs.
    """

    def __init__(
        self,
        rig: RigDescription,
        identity: Identity,
        target: Target,
        open_outlet: Callable[[float], Outlet],
        *,
        critical: bool = False,
    ) -> None:
        self.critical = critical
        self._rig, self._identity, self._target = rig, identity, target
        self._segment: int | None = None
        self._waiting: list[tuple[Floats, Floats]] = []
        self._newest_ns = -np.inf
        self._begin()
        self._outlet = open_outlet(self._chain.fs_hz)

    def on_block(self, block: StreamBlock) -> None:
        """Take samples."""
        if self._segment not in (None, block.segment):
            self._begin()
        self._segment = block.segment
        self._clock.hear_block(block)
        self._newest_us = int(block.device_time_us[-1])
        self._chain.feed(block.spec.name, block.device_time_us, block.counts)

    def on_sync(self, exchange: SyncExchange) -> None:
        """Learn how the rig's clock runs."""
        if exchange.segment == self._segment:
            self._clock.hear(exchange)

    def on_step(self, counts: LinkCounts) -> None:
        """Send what is new, as soon as the rig's clock is known."""
        del counts
        series = self._chain.take()
        if series is not None:
            begin_us = self._newest_us - self._chain.time_s(self._newest_us) * 1e6
            self._waiting.append((values_of(series), begin_us + series.time_s * 1e6))
        if not self._clock.known:
            return
        waiting, self._waiting = self._waiting, []
        for values, device_us in waiting:
            self._send(values, self._clock.host_times_ns(device_us))

    def close(self, status: str) -> None:
        """End the stream."""
        del status
        self._outlet.close()

    def _begin(self) -> None:
        """Start from nothing: at first, and when the line or the rig has come back."""
        self._chain = LiveChain(self._rig, self._identity, self._target)
        self._clock = LiveClock()
        self._waiting.clear()
        self._newest_us = 0

    def _send(self, values: Floats, host_ns: Floats) -> None:
        # A better idea of the clock may shift the stamps a little; back in time they never go.
        host_ns = np.maximum(np.maximum.accumulate(host_ns), self._newest_ns)
        self._newest_ns = float(host_ns[-1])
        self._outlet.push(values, host_ns)


def values_of(series: ResolvedSeries) -> Floats:
    """Return the samples of a series as they are sent, shape (n, channels), see `CHANNELS`."""
    angles = np.rad2deg(
        np.column_stack([series.azimuth_rad, series.superior_angle_rad, series.off_axis_rad])
    )
    angles[~series.directed] = np.nan
    rest = [
        series.superior_force_n,
        series.magnitude_n,
        np.rad2deg(series.elevation_rad),
        series.directed.astype(np.float64),
    ]
    return np.column_stack([angles, *rest])
