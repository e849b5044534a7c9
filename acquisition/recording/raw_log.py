"""The very bytes of a line with their arrival times, kept beside a recording if asked for.

An append-only file of entries, each ``kind u8, size u32, time_ns i64, data, crc32 u32``, little
endian, the checksum over all before it. Every entry is handed to the system at once: killing the
recorder loses none, and an end torn by a power cut is found. It holds no text of people's, only
what crossed the line, and the uuid of its recording.

``trial.h5`` has its log in ``trial.raw``, ``trial.raw.part`` until it is closed.
"""

from __future__ import annotations

import contextlib
import os
import struct
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from typing import BinaryIO

from acquisition.clock import Clock
from acquisition.errors import RecordingError
from acquisition.recording.disk import require_room
from acquisition.recording.naming import (
    OWNER_ONLY,
    PART_SUFFIX,
    create_private,
    give_final_name,
    part_path,
    refuse_taken,
)

SUFFIX = ".raw"
RAW_LOG_EVENT = "raw_log"
"""Kind of event in a recording that has one."""
FORMAT = b"perpend-raw-log 1"
MAX_DATA_BYTES = 1 << 20
_HEAD = struct.Struct("<BIq")
_CRC = struct.Struct("<I")


class Kind(IntEnum):
    """What an entry tells; all but those marked have no data."""

    FORMAT = 1
    """The first of all; data: `FORMAT`."""
    OPENED = 2
    """The port was opened, again after a loss as well."""
    READ = 3
    """Data: bytes from the rig."""
    WRITTEN = 4
    """Data: bytes to the rig."""
    LOST = 5
    """The far end went away."""
    CLOSED = 6
    """The port was let go of."""
    RECORDING = 7
    """Data: uuid of the recording that this log belongs to."""
    END = 8
    """The last of all: the log was closed properly."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry.

    Attributes:
        kind: What it tells.
        time_ns: Host monotonic clock.
        data: As the kind says.
    """

    kind: Kind
    time_ns: int
    data: bytes = b""


def raw_log_path(recording: Path) -> Path:
    """Return where the raw log of a recording, or of its part file, lies once it is closed."""
    stem = recording.name.removesuffix(PART_SUFFIX).removesuffix(".h5")
    return recording.with_name(stem + SUFFIX)


def find_raw_log(recording: Path) -> Path | None:
    """Return the raw log beside a recording, closed or left by a killed recorder, None if none."""
    path = raw_log_path(recording)
    found = [one for one in (path, part_path(path)) if one.is_file() and not one.is_symlink()]
    return found[0] if found else None


class RawLogWriter:
    """Appends to the raw log of the recording that will be *recording*.

    A failure is kept, not raised, until somebody can do something about it: see `check`.

    Args:
        recording: Final name of the recording; the log's own may not be taken.
        clock: Stamps the entries.

    Raises:
        RecordingError: The file cannot be made.
    """

    def __init__(self, recording: Path, *, clock: Clock) -> None:
        self._path = raw_log_path(recording)
        refuse_taken(self._path, suffix=SUFFIX)
        self._part = part_path(self._path)
        self._clock = clock
        self._failure: OSError | None = None
        self._told = self._closed = False
        try:
            flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | os.O_APPEND
            self._descriptor = os.open(self._part, flags, OWNER_ONLY)
        except OSError as cause:
            raise RecordingError(f"{self._part}: cannot be made ({cause.strerror})") from cause
        self.add(Kind.FORMAT, FORMAT)

    def add(self, kind: Kind, data: bytes = b"") -> None:
        """Append an entry that happened just now; nothing after a failure, or once closed."""
        now_ns = self._clock.now_ns()
        pieces = [data[i : i + MAX_DATA_BYTES] for i in range(0, len(data), MAX_DATA_BYTES)]
        for piece in pieces or [b""]:
            if self._failure is None and not self._closed:
                self._append(entry_bytes(Entry(kind, now_ns, piece)))

    def check(self) -> None:
        """Raise what went wrong, once.

        Raises:
            RecordingError: An entry could not be written.
        """
        if self._failure is not None and not self._told:
            self._told = True
            raise RecordingError(
                f"{self._part}: the raw log cannot be written ({self._failure.strerror}); "
                "what came before is kept in it"
            ) from self._failure

    def close(self) -> None:
        """End the log and give it its final name; twice is fine.

        Raises:
            RecordingError: It could not be finished, and nobody was told yet.
        """
        if self._closed:
            return
        self.add(Kind.END)
        self._closed = True
        with contextlib.suppress(OSError):  # nothing is left to be lost: it is not buffered
            os.close(self._descriptor)
        self.check()
        if self._failure is None:
            give_final_name(self._part, self._path)

    def discard(self) -> None:
        """Let go of the log of a recording that never began."""
        self._closed = True
        with contextlib.suppress(OSError):
            os.close(self._descriptor)
        self._part.unlink(missing_ok=True)  # ours

    def _append(self, data: bytes) -> None:
        try:
            while data:  # a disk that fills up takes a part
                data = data[os.write(self._descriptor, data) :]
        except OSError as cause:
            self._failure = cause


def entry_bytes(entry: Entry) -> bytes:
    """Return an entry as it lies in the file."""
    body = _HEAD.pack(entry.kind, len(entry.data), entry.time_ns) + entry.data
    return body + _CRC.pack(zlib.crc32(body))


class RawLog:
    """A raw log to be read entry by entry, as far as it is whole; the file is not trusted.

    Attributes:
        path: The file.
        torn: Where it stops being whole, known once it was read through; empty if it is whole.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.torn = ""

    def __iter__(self) -> Iterator[Entry]:
        """Yield the entries, from the first one on.

        Raises:
            RecordingError: It cannot be read, or is no raw log.
        """
        try:
            with self.path.open("rb") as file:
                first = _entry(file)
                if first is None or first.kind is not Kind.FORMAT or first.data != FORMAT:
                    raise RecordingError(f"{self.path}: is no raw log that this program can read")
                yield from self._entries(file)
        except OSError as cause:
            raise RecordingError(f"{self.path}: cannot be read ({cause.strerror})") from cause

    def _entries(self, file: BinaryIO) -> Iterator[Entry]:
        start, entry = file.tell(), _entry(file)
        while entry is not None:
            yield entry
            if entry.kind is Kind.END:
                return
            start, entry = file.tell(), _entry(file)
        behind = file.seek(0, os.SEEK_END) - start
        self.torn = "was never closed"
        if behind:
            self.torn = f"is not whole from byte {start} on: {behind} bytes are left out"


def _entry(file: BinaryIO) -> Entry | None:
    head = file.read(_HEAD.size)
    if len(head) < _HEAD.size:
        return None
    kind, size, time_ns = _HEAD.unpack(head)
    if kind not in _KINDS or size > MAX_DATA_BYTES:  # before it is allocated
        return None
    rest = file.read(size + _CRC.size)
    whole = rest[size:] == _CRC.pack(zlib.crc32(rest[:size], zlib.crc32(head)))
    return Entry(Kind(kind), time_ns, rest[:size]) if whole else None


_KINDS = frozenset(Kind)


@dataclass(frozen=True, slots=True)
class RawLogState:
    """What was found in a raw log.

    Attributes:
        path: The file.
        uuid: Of the recording it belongs to, empty if it does not say.
        read_bytes: From the rig.
        torn: From where on it is not whole; empty if it is.
    """

    path: Path
    uuid: str
    read_bytes: int
    torn: str


def raw_log_state(path: Path) -> RawLogState:
    """Read a raw log through, checking every entry.

    Raises:
        RecordingError: It cannot be opened, or is no raw log.
    """
    log, uuid, size = RawLog(path), "", 0
    for entry in log:
        size += len(entry.data) * (entry.kind is Kind.READ)
        if entry.kind is Kind.RECORDING:
            uuid = entry.data.decode("utf-8", "replace")
    return RawLogState(path, uuid, size, log.torn)


def copy_raw_log(source: Path, recording: Path) -> RawLogState:
    """Write what is whole of a raw log as the closed log of *recording*.

    Raises:
        RecordingError: *source* is no raw log, or the new one cannot be written.
    """
    path = raw_log_path(recording)
    refuse_taken(path, also_part=False, suffix=SUFFIX)  # a part file may be what is rescued
    require_room(path, source.stat().st_size)
    log, part = RawLog(source), path.with_name(f"{path.name}.new{PART_SUFFIX}")
    try:
        _write_all(part, log)
    except OSError as cause:
        part.unlink(missing_ok=True)  # ours, and not whole
        raise RecordingError(f"{part}: cannot be written ({cause.strerror})") from cause
    give_final_name(part, path)
    return raw_log_state(path)


def _write_all(part: Path, entries: Iterable[Entry]) -> None:
    create_private(part)
    with part.open("r+b") as file:
        last_ns = 0
        file.write(entry_bytes(Entry(Kind.FORMAT, last_ns, FORMAT)))
        for entry in entries:
            last_ns = entry.time_ns
            if entry.kind is not Kind.END:
                file.write(entry_bytes(entry))
        file.write(entry_bytes(Entry(Kind.END, last_ns)))
