"""Writes a recording that survives being killed: at most a quarter of a second is in memory.

Everything known beforehand and every table is in the file, flushed, before the first sample.
The file is called ``<name>.part`` until it is closed properly, and never takes the place of
another one.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import h5py
import numpy as np

from acquisition.blocks import StreamBlock
from acquisition.clock import NS_PER_S, Clock
from acquisition.clock_fit import SyncExchange
from acquisition.errors import RecordingError
from acquisition.recording import layout
from acquisition.recording.appender import Appender, growing_file
from acquisition.recording.block_rows import block_rows
from acquisition.recording.clock_rows import clock_rows
from acquisition.recording.disk import DiskPace, DiskRoom, FreeBytes, free_bytes_at
from acquisition.recording.label import check_label
from acquisition.recording.metadata import attribute_dtype, clipped, known_beforehand
from acquisition.recording.model import Event, LinkCounts, TrialLabel
from acquisition.recording.naming import create_private, give_final_name, part_path, refuse_taken
from acquisition.rig import RigDescription
from firmware_protocol.messages import Fault, Identity

FLUSH_INTERVAL_S = 0.25
FLUSH_BYTES = 1 << 20
"""Flushed earlier when this much has gathered, as from a source faster than real time."""


class RecordingWriter:
    """Appends what a session says to a file; a critical sink.

    Args:
        path: Final name. Neither it nor its ``.part`` may exist.
        identity: What the rig said of itself; its streams get their tables now.
        rig: The rig description in use.
        target_json: The target asked for, empty if none.
        label: Who and what, codes only.
        clock: Times the flushes, and dates the file.
        free_bytes: Free space at a folder; a stand-in for tests.

    Raises:
        RecordingError: The file cannot be made: taken, no such folder, no permission, disk
            nearly full, or the label is no label.
    """

    critical = True

    def __init__(
        self,
        path: Path,
        *,
        identity: Identity,
        rig: RigDescription,
        target_json: str,
        label: TrialLabel,
        clock: Clock,
        free_bytes: FreeBytes = free_bytes_at,
    ) -> None:
        refuse_taken(path)
        self._path = path
        self._part = part_path(path)
        self._clock = clock
        self._room = DiskRoom(path, identity.streams, free_bytes)
        self._room.require_to_begin()
        self._pace = DiskPace(path, clock)
        self._recorded_s = {spec.stream_id: 0.0 for spec in identity.streams}
        self._identity = identity
        self._attributes = known_beforehand(identity, rig, target_json, check_label(label), clock)
        self._counts_before: LinkCounts | None = None
        self._counts = LinkCounts()
        self._counts_written: LinkCounts | None = None
        self._broken = False
        self._closed_as: Path | None = None
        self._waiting: dict[int, list[StreamBlock]] = {
            spec.stream_id: [] for spec in identity.streams
        }
        self._streams = {spec.stream_id: layout.stream_tables(spec) for spec in identity.streams}
        self._file = self._create()
        self._flushed_ns = clock.now_ns()
        self._gathered_bytes = 0

    @property
    def part(self) -> Path:
        """Where the recording lies until it is closed."""
        return self._part

    @property
    def minutes_left(self) -> float:
        """For how long the disk had room when it was last looked."""
        return self._room.minutes_left

    @property
    def uuid(self) -> str:
        """Of this recording."""
        uuid = self._attributes["uuid"]
        return uuid.decode() if isinstance(uuid, bytes) else str(uuid)

    def on_block(self, block: StreamBlock) -> None:
        """Append samples.

        Raises:
            RecordingError: The disk is full or gone; what was flushed before stays readable.
        """
        self._waiting[block.spec.stream_id].append(block)
        self._gathered_bytes += block.wire.nbytes
        self._recorded_s[block.spec.stream_id] += len(block) / block.spec.rate_hz
        self._flush_if_due()

    def on_event(self, event: Event) -> None:
        """Append an event."""
        self._tables[layout.EVENTS.path].add_row(
            event.arrival_ns,
            event.device_time_us,
            clipped(event.kind, layout.EVENT_KIND_BYTES),
            clipped(event.text, layout.EVENT_TEXT_BYTES),
        )
        self._flush_if_due()

    def on_fault(self, fault: Fault) -> None:
        """Append what the rig reported."""
        self._tables[layout.FAULTS.path].add_row(
            fault.device_time_us,
            int(fault.code),
            fault.stream_id,
            clipped(fault.detail, layout.FAULT_DETAIL_BYTES),
        )
        self._flush_if_due()

    def on_sync(self, exchange: SyncExchange) -> None:
        """Append a question for the rig's clock and its answer."""
        self._tables[layout.SYNC.path].add_row(
            exchange.asked_ns,
            exchange.received_us,
            exchange.sent_us,
            exchange.answered_ns,
            exchange.segment,
        )
        self._flush_if_due()

    def on_step(self, counts: LinkCounts) -> None:
        """Keep the accounts since this recording began, and flush when it is time."""
        if self._counts_before is None:
            self._counts_before = counts
        self._counts = counts
        self._flush_if_due()

    def close(self, status: str = layout.COMPLETE) -> Path:
        """Finish the file and give it its final name; a second call does nothing.

        Args:
            status: ``complete`` or ``stopped: <reason>``.

        Returns:
            Where the recording is: its final name, or the part file if writing had failed.

        Raises:
            RecordingError: It could not be finished; what was written stays in the part file.
        """
        if self._closed_as is None:
            self._closed_as = self._part
            if self._broken:
                with contextlib.suppress(OSError, RuntimeError, ValueError):  # was told already
                    self._file.close()
            else:
                self._finish(status)
        return self._closed_as

    def _finish(self, status: str) -> None:
        with self._trouble():
            self._append_all()
            self._append_clocks()
            self._write_attribute("status", clipped(status, layout.STATUS_BYTES))
            self._write_attribute("content_sha256", self._digest().encode())
            self._file.close()
        give_final_name(self._part, self._path)
        self._closed_as = self._path

    def _create(self) -> h5py.File:
        create_private(self._part)
        try:
            with self._trouble():
                file = growing_file(self._part)
                for name, value in self._attributes.items():
                    file.attrs.create(name, value, dtype=attribute_dtype(name, value))
                self._tables = {
                    spec.path: Appender(file, spec)
                    for spec in layout.all_tables(self._identity.streams)
                }
                file.flush()
        except RecordingError:
            self._part.unlink(missing_ok=True)  # ours, and nothing in it
            raise
        return file

    def _flush_if_due(self) -> None:
        now = self._clock.now_ns()
        late = now - self._flushed_ns >= FLUSH_INTERVAL_S * NS_PER_S
        if late or self._gathered_bytes >= FLUSH_BYTES:
            self._flushed_ns = now
            with self._trouble():
                self._append_all()
                self._file.flush()
            self._room.require_to_go_on()
            self._pace.worked(now, max(self._recorded_s.values()))

    def _append_all(self) -> None:
        self._gathered_bytes = 0
        counts = self._counts.since(self._counts_before or LinkCounts())
        if counts != self._counts_written:
            self._counts_written = counts
            values = [getattr(counts, name) for name in layout.LINK_FIELDS]
            self._tables[layout.LINK.path].add_row(self._clock.now_ns(), *values)
        for stream_id, waiting in self._waiting.items():
            if waiting:
                self._add_blocks(stream_id, waiting)
                waiting.clear()
        for table in self._tables.values():
            table.append_pending()

    def _append_clocks(self) -> None:
        """Say how the rig's clock ran; the questions and answers are in the file already."""
        clock = self._tables[layout.CLOCK.path]
        clock.add(clock_rows(self._file[layout.SYNC.path][:]).tobytes())
        clock.append_pending()

    def _add_blocks(self, stream_id: int, waiting: list[StreamBlock]) -> None:
        tables = self._streams[stream_id]
        for table, rows in zip(tables, block_rows(waiting), strict=True):
            self._tables[table.path].add(rows)

    def _digest(self) -> str:
        accounts = {path: table.account() for path, table in self._tables.items()}
        return layout.content_digest(self._attributes, accounts)

    def _write_attribute(self, name: str, value: bytes) -> None:
        self._file.attrs.modify(name, np.array(value, dtype=attribute_dtype(name, value)))
        self._attributes[name] = value

    @contextlib.contextmanager
    def _trouble(self) -> Iterator[None]:
        try:
            yield
        except (OSError, RuntimeError, ValueError, TypeError) as cause:  # HDF5 raises all four
            self._broken = True
            raise RecordingError(
                f"{self._part}: cannot be written ({cause}); "
                "what was recorded is kept in it, `perpend salvage` makes a clean file of it"
            ) from cause
