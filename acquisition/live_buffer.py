"""The newest samples of every stream, for readers that come when they like.

Each reader keeps its own cursor, so that none can take news away from another, and is told
how many samples went by before it came.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.blocks import StreamBlock
from acquisition.sinks import SinkBase

DEFAULT_SECONDS = 20.0
MAX_ROWS = 200_000
"""Memory has a limit whatever rate a rig claims to have."""

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Window:
    """What is new for one reader.

    Attributes:
        device_time_us: Shape (n,), the rig's clock.
        counts: Shape (n, channels), raw; (0, 0) before the stream's first block.
        sample_number: Shape (n,). A jump is a loss on the wire.
        segment: Shape (n,).
        cursor: To ask with the next time.
        missed: Samples that came and went between the cursor given and the first row here.
    """

    device_time_us: Ints
    counts: NDArray[np.int32]
    sample_number: Ints
    segment: Ints
    cursor: int
    missed: int


class LiveBuffer(SinkBase):
    """A ring of the newest samples for each stream; bounded, never blocks the session long."""

    def __init__(self, *, seconds: float = DEFAULT_SECONDS) -> None:
        self._seconds = seconds
        self._rings: dict[str, _Ring] = {}
        self._lock = threading.Lock()

    def on_block(self, block: StreamBlock) -> None:
        """Take samples in; the oldest make room."""
        name = block.spec.name
        with self._lock:
            if name not in self._rings:
                self._rings[name] = _Ring(self._rows(block), block.counts.shape[1])
            self._rings[name].append(block)

    def streams(self) -> tuple[str, ...]:
        """Return the names of the streams that have spoken."""
        with self._lock:
            return tuple(self._rings)

    def since(self, stream_name: str, cursor: int) -> Window:
        """Return what came after *cursor* and is still here, as copies.

        Args:
            stream_name: Which stream; one that has not spoken yet has nothing new.
            cursor: `Window.cursor` of the last time; 0 for everything; -1 for only what comes
                from now on.
        """
        with self._lock:
            ring = self._rings.get(stream_name)
            if ring is None:
                return Window(_NOTHING, _NO_COUNTS, _NOTHING, _NOTHING, max(cursor, 0), 0)
            return ring.since(cursor)

    def _rows(self, block: StreamBlock) -> int:
        return int(np.clip(block.spec.rate_hz * self._seconds, 1, MAX_ROWS))


_NOTHING = np.empty(0, dtype=np.int64)
_NO_COUNTS = np.empty((0, 0), dtype=np.int32)


class _Ring:
    def __init__(self, rows: int, channels: int) -> None:
        self._rows = rows
        self._written = 0
        self._device_time_us = np.zeros(rows, dtype=np.int64)
        self._counts = np.zeros((rows, channels), dtype=np.int32)
        self._sample_number = np.zeros(rows, dtype=np.int64)
        self._segment = np.zeros(rows, dtype=np.int64)

    def append(self, block: StreamBlock) -> None:
        newest = slice(max(0, len(block) - self._rows), None)
        numbers = (block.sample_number + np.arange(len(block)))[newest]
        where = (self._written + np.arange(len(block)))[newest] % self._rows
        self._device_time_us[where] = block.device_time_us[newest]
        self._counts[where] = block.counts[newest]
        self._sample_number[where] = numbers
        self._segment[where] = block.segment
        self._written += len(block)

    def since(self, cursor: int) -> Window:
        if cursor < 0:
            cursor = self._written
        oldest = max(0, self._written - self._rows)
        start = min(max(cursor, oldest), self._written)
        where = np.arange(start, self._written) % self._rows
        return Window(
            device_time_us=self._device_time_us[where],
            counts=self._counts[where],
            sample_number=self._sample_number[where],
            segment=self._segment[where],
            cursor=self._written,
            missed=max(0, start - cursor),
        )
