"""Writes a recording whose content is known from the start, as after a rescue or a new code."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from acquisition.errors import RecordingError
from acquisition.recording import layout
from acquisition.recording.appender import Appender
from acquisition.recording.disk import require_room
from acquisition.recording.layout import TableSpec
from acquisition.recording.metadata import attribute_dtype
from acquisition.recording.naming import PART_SUFFIX, create_private, give_final_name, refuse_taken
from firmware_protocol.messages import StreamSpec

ROWS_AT_ONCE = 1 << 16
SMALL_BYTES = 4 << 20
"""Room for what is not rows: begun chunks and the index of each table."""


def write_at_once(
    path: Path,
    attributes: Mapping[str, bytes | int],
    tables: Mapping[TableSpec, NDArray[Any]],
    streams: tuple[StreamSpec, ...],
) -> Path:
    """Write a closed recording.

    Args:
        path: New file; it may not exist; a part file may, as it is what is rescued.
        attributes: Every root attribute; the content hash is worked out here.
        tables: Rows of tables; the others are made empty.
        streams: The stream table.

    Returns:
        *path*.

    Raises:
        RecordingError: It cannot be written; then nothing of it is left.
    """
    refuse_taken(path, also_part=False)
    require_room(path, SMALL_BYTES + sum(rows.nbytes for rows in tables.values()))
    part = path.with_name(f"{path.name}.new{PART_SUFFIX}")
    create_private(part)
    try:
        with _trouble(part), h5py.File(part, "w", libver="earliest") as file:
            _fill(file, dict(attributes), tables, layout.all_tables(streams))
    except BaseException:
        part.unlink(missing_ok=True)  # ours, and not whole
        raise
    give_final_name(part, path)
    return path


def _fill(
    file: h5py.File,
    attributes: dict[str, bytes | int],
    tables: Mapping[TableSpec, NDArray[Any]],
    every: tuple[TableSpec, ...],
) -> None:
    accounts = {}
    for spec in every:
        appender = Appender(file, spec)
        rows = tables.get(spec, ())
        for start in range(0, len(rows), ROWS_AT_ONCE):
            piece = rows[start : start + ROWS_AT_ONCE]
            appender.add(np.ascontiguousarray(piece, dtype=spec.dtype).tobytes())
            appender.append_pending()
        accounts[spec.path] = appender.account()
    attributes["content_sha256"] = layout.content_digest(attributes, accounts).encode()
    for name, value in attributes.items():
        file.attrs.create(name, value, dtype=attribute_dtype(name, value))


@contextlib.contextmanager
def _trouble(part: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, RuntimeError, ValueError, TypeError) as cause:  # HDF5 raises all four
        raise RecordingError(f"{part}: cannot be written ({cause}); nothing is left") from cause
