"""Is there room, for how long, and does the disk keep up."""

from __future__ import annotations

import shutil
from collections import deque
from collections.abc import Callable
from pathlib import Path

from acquisition.clock import NS_PER_S, Clock
from acquisition.errors import RecordingError
from acquisition.recording import layout
from firmware_protocol.messages import StreamSpec

FreeBytes = Callable[[Path], int]

START_FREE_BYTES = 64 << 20
STOP_FREE_BYTES = 16 << 20
"""Below this a recording ends while it still can: HDF5 on a full disk may crash at exit."""
LEAST_MINUTES = 5.0
"""No recording begins with room for less."""
WARN_MINUTES = 30.0
BLOCK_SAMPLES = 4
"""A rig sends at least so many samples in a block, for what follows."""
SLOW_WINDOW_S = 10.0
SLOW_SHARE = 0.8
"""A disk that takes more than this share of the time, for so long, is slower than the wire: what
it keeps waiting is lost. A single hiccup is not, its losses are counted."""


def free_bytes_at(folder: Path) -> int:
    """Return the free space of the disk that *folder* is on."""
    return shutil.disk_usage(folder).free


def bytes_per_minute(streams: tuple[StreamSpec, ...]) -> float:
    """Return how fast a recording of *streams* grows."""
    block_bytes = layout.BLOCK_DTYPE.itemsize / BLOCK_SAMPLES
    sample_bytes = (layout.stream_tables(spec)[0].row_bytes for spec in streams)
    rates_hz = (spec.rate_hz for spec in streams)
    return 60.0 * sum(
        rate_hz * (size + block_bytes) for rate_hz, size in zip(rates_hz, sample_bytes, strict=True)
    )


def minutes_left(
    folder: Path, streams: tuple[StreamSpec, ...], *, free_bytes: FreeBytes = free_bytes_at
) -> float:
    """Return for how many minutes of *streams* the disk of *folder* has room.

    Below `WARN_MINUTES` a person should be told; below `LEAST_MINUTES` nothing should begin.

    Raises:
        RecordingError: The folder is gone.
    """
    free = _free(folder, free_bytes)
    return max(0.0, free - STOP_FREE_BYTES) / bytes_per_minute(streams)


def require_room(path: Path, needed_bytes: int, *, free_bytes: FreeBytes = free_bytes_at) -> None:
    """Check that the disk of *path* takes *needed_bytes* and has a little left then.

    Raises:
        RecordingError: It does not, or the folder is gone.
    """
    _refuse_less(path, _free(path.parent, free_bytes), needed_bytes + STOP_FREE_BYTES)


class DiskRoom:
    """Watches the free space of the disk that a recording grows on.

    Args:
        path: The recording.
        streams: What is recorded.
        free_bytes: Free space at a folder; a stand-in for tests.

    Attributes:
        minutes_left: For so many minutes there was room when it was last looked.
    """

    def __init__(
        self, path: Path, streams: tuple[StreamSpec, ...], free_bytes: FreeBytes = free_bytes_at
    ) -> None:
        self._path = path
        self._per_minute = bytes_per_minute(streams)
        self._free_bytes = free_bytes
        self.minutes_left = 0.0

    def require_to_begin(self) -> None:
        """Check that it is worth while to begin.

        Raises:
            RecordingError: There is little room, or less than `LEAST_MINUTES`, or no folder.
        """
        self._require(START_FREE_BYTES)
        if self.minutes_left < LEAST_MINUTES:
            raise RecordingError(
                f"{self._path}: this disk has room for {self.minutes_left:.1f} minutes, "
                f"{LEAST_MINUTES:g} needed; make room or record elsewhere"
            )

    def require_to_go_on(self) -> None:
        """Check that the recording can still be closed properly.

        Raises:
            RecordingError: The disk is nearly full, or the folder is gone.
        """
        self._require(STOP_FREE_BYTES)

    def _require(self, least_bytes: int) -> None:
        free = _free(self._path.parent, self._free_bytes)
        self.minutes_left = max(0.0, free - STOP_FREE_BYTES) / self._per_minute
        _refuse_less(self._path, free, least_bytes)


class DiskPace:
    """Notices a disk that is slower than the wire.

    It takes nearly all of the time, and the recording falls behind: what the rig says meanwhile
    waits in buffers that run over. A source that waits for us (a recording played back as fast as
    can be) may keep a disk busy, but does not fall behind.

    Args:
        path: What is written, for messages.
        clock: Times the work.
    """

    def __init__(self, path: Path, clock: Clock) -> None:
        self._path = path
        self._clock = clock
        self._began_ns = clock.now_ns()
        self._work: deque[tuple[int, int, float]] = deque()

    def worked(self, from_ns: int, recorded_s: float) -> None:
        """Note a piece of work that began at *from_ns* and ended now.

        Args:
            from_ns: By the clock.
            recorded_s: Length of the recording by now.

        Raises:
            RecordingError: The disk has taken nearly all of the time for too long.
        """
        now_ns = self._clock.now_ns()
        self._work.append((from_ns, now_ns, recorded_s))
        window_ns = round(SLOW_WINDOW_S * NS_PER_S)
        while self._work[0][1] < now_ns - window_ns:
            self._work.popleft()
        busy_ns = sum(end - max(begin, now_ns - window_ns) for begin, end, _ in self._work)
        had_s = recorded_s - self._work[0][2]
        too_long = now_ns - self._began_ns >= window_ns and busy_ns > SLOW_SHARE * window_ns
        if too_long and had_s < SLOW_SHARE * SLOW_WINDOW_S:
            raise RecordingError(
                f"{self._path}: the disk is slower than the rig: in the last {SLOW_WINDOW_S:g} s "
                f"it took {busy_ns / NS_PER_S:.1f} s to write {had_s:.1f} s of samples; "
                "record to another disk"
            )


def _refuse_less(path: Path, free: int, least_bytes: int) -> None:
    if free < least_bytes:
        raise RecordingError(
            f"{path}: only {free >> 20} MiB free on this disk, "
            f"{-(-least_bytes >> 20)} needed; make room or record elsewhere"
        )


def _free(folder: Path, free_bytes: FreeBytes) -> int:
    try:
        return free_bytes(folder)
    except OSError as cause:
        raise RecordingError(f"{folder}: is gone ({cause.strerror})") from cause
