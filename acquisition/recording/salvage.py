"""Makes a clean, closed recording out of a broken one, which is only ever read.

The file's bytes are mended in memory: HDF5 refuses to open a file that is shorter than the
end-of-file address in its superblock says, and does not find a chunk beyond it. With the
address corrected and zeros put where bytes are missing, every block still has to prove itself
by its checksum; what does not is left out, and shows as a jump of the sample numbers.
"""

from __future__ import annotations

import fcntl
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.errors import DescriptionError, RecordingError
from acquisition.recording import layout
from acquisition.recording.at_once import write_at_once
from acquisition.recording.checked import SIGNATURE, CheckedFile
from acquisition.recording.clock_rows import clock_rows
from acquisition.recording.layout import TableSpec
from acquisition.recording.metadata import clipped
from acquisition.recording.naming import refuse_taken
from acquisition.recording.raw_log import (
    copy_raw_log,
    find_raw_log,
    raw_log_path,
    raw_log_state,
)
from acquisition.recording.reader import WireStream, hash_of, wire_streams
from acquisition.recording.verify import STOPPED, jumped_samples
from acquisition.rig import rig_from_json

END_OF_FILE_ADDRESS_AT = 40
"""In version 0 of the superblock, HDF5 file format specification, section II.A."""
ROOM_BYTES = 8 << 20
"""Zeros put behind the end: room for chunks that did not make it into the file."""
MAX_IMAGE_BYTES = 2 << 30


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What a rescue brought.

    Attributes:
        path: The new file.
        samples: Kept, by stream.
        lost: What could not be saved, one sentence each.
        raw_bytes: Of the line, kept in the raw log beside it; None if there was none.
    """

    path: Path
    samples: tuple[tuple[str, int], ...]
    lost: tuple[str, ...]
    raw_bytes: int | None = None


def salvage(source: Path | str, out: Path) -> Salvaged:
    """Write what can be saved of *source* to the new file *out*.

    Raises:
        RecordingError: *source* holds nothing that can be saved, is being recorded right now,
            or *out* cannot be made.
    """
    source, log = Path(source), find_raw_log(Path(source))
    refuse_taken(out, also_part=False)
    if log == raw_log_path(out):
        log = None  # it lies where it belongs already, closed
    if log is not None:
        refuse_taken(raw_log_path(out), also_part=False, suffix=".raw")
    with CheckedFile(source, image=mended(source)) as file:
        try:
            rig_from_json(file.text("rig_json"), where="its rig description")
        except (DescriptionError, RecursionError) as cause:
            raise RecordingError(f"{source}: cannot be saved: {cause}") from cause
        streams = tuple(wire_streams(file))
        if not any(len(wire.blocks) for wire in streams):
            raise RecordingError(f"{source}: holds not one whole block; nothing can be saved")
        tables = _tables(file)
        lost = tuple(_lost(file))
        for wire, (counts, blocks) in zip(streams, _pairs(file), strict=True):
            tables[counts], tables[blocks] = wire.counts, wire.blocks
        tables[layout.CLOCK] = clock_rows(tables[layout.SYNC])
        tables[layout.LINK] = _with_last_line(tables[layout.LINK], streams)
        attributes = {**file.attributes, "status": _status(file, lost)}
        path = write_at_once(out, attributes, tables, file.identity.streams)
    samples = tuple((wire.spec.name, len(wire.counts)) for wire in streams)
    if log is None:
        return Salvaged(path, samples, lost)
    kept = copy_raw_log(log, path)
    return Salvaged(path, samples, (*lost, *_lost_of_log(log)), kept.read_bytes)


def mended(source: Path) -> bytes:
    """Return the bytes of a file with its end where its superblock says it is.

    Raises:
        RecordingError: It is not HDF5, is being written, or is too large to be held in memory.
    """
    data = _locked_bytes(source)
    if not data.startswith(SIGNATURE):
        raise RecordingError(f"{source}: is not a recording (not HDF5); nothing can be saved")
    if len(data) < END_OF_FILE_ADDRESS_AT + 8 or data[8] != 0 or data[13] != 8:
        raise RecordingError(f"{source}: its first bytes are no good; nothing can be saved")
    (told,) = struct.unpack_from("<Q", data, END_OF_FILE_ADDRESS_AT)
    size = max(len(data), min(told, len(data) * 4 + ROOM_BYTES)) + ROOM_BYTES
    if size > MAX_IMAGE_BYTES:
        raise RecordingError(f"{source}: is too large to be salvaged ({len(data) >> 20} MiB)")
    image = bytearray(size)
    image[: len(data)] = data
    struct.pack_into("<Q", image, END_OF_FILE_ADDRESS_AT, size)
    return bytes(image)


def _locked_bytes(source: Path) -> bytes:
    try:
        with source.open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)  # HDF5 locks what it writes
            return file.read(MAX_IMAGE_BYTES + 1)
    except BlockingIOError as cause:
        raise RecordingError(f"{source}: is being recorded right now; wait for its end") from cause
    except OSError as cause:
        raise RecordingError(f"{source}: cannot be read ({cause.strerror})") from cause


def _pairs(file: CheckedFile) -> Iterator[tuple[TableSpec, TableSpec]]:
    return (layout.stream_tables(spec) for spec in file.identity.streams)


def _tables(file: CheckedFile) -> dict[TableSpec, NDArray[Any]]:
    """Return the rows of all tables but the streams'; a row of zeros is a torn one."""
    every = set(layout.all_tables(file.identity.streams))
    kept = {}
    for table in every.difference(*_pairs(file)):
        rows = file.rows(table)
        kept[table] = rows[rows != np.zeros((), dtype=table.dtype)]
    return kept


def _with_last_line(link: NDArray[Any], streams: Sequence[WireStream]) -> NDArray[Any]:
    """Return the accounts with a last line that owns up to every jump."""
    last = np.zeros(1, dtype=layout.LINK_DTYPE)
    if len(link):
        last[:] = link[-1:]
    jumped = sum(map(jumped_samples, streams)) - int(last["reordered_samples"][0])
    last["lost_samples"] = max(int(last["lost_samples"][0]), jumped)
    last["frames"] = max(int(last["frames"][0]), sum(len(wire.blocks) for wire in streams))
    return np.concatenate([link, last])


def _lost(file: CheckedFile) -> Iterator[str]:
    status = file.text("status")
    if status == layout.RECORDING:
        yield "was never closed: up to a second is missing at its end"
    elif file.text("content_sha256") != hash_of(file):
        yield "what is in it now is not what it was closed with"
    for path, why in file.lost_tables.items():
        yield f"{path} cannot be read ({why})"
    for wire in wire_streams(file):
        if wire.torn_blocks:
            yield f"stream {wire.spec.name!r}: {wire.torn_blocks} blocks are not whole"


def _lost_of_log(log: Path) -> Iterator[str]:
    torn = raw_log_state(log).torn
    if torn:
        yield f"raw log {log.name} {torn}"


def _status(file: CheckedFile, lost: tuple[str, ...]) -> bytes:
    status = file.text("status")
    if status != layout.RECORDING and not lost:
        return status.encode()
    why = "its recorder was killed" if status == layout.RECORDING else "it was damaged"
    return clipped(f"{STOPPED}{why}; salvaged from {file.path.name}", layout.STATUS_BYTES)
