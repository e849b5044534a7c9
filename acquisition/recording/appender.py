"""A growing file and its tables: gathers bytes, appends them in blocks, hashes on the way.

HDF5 is left little to remember. Its cache of chunks would hold a megabyte of each table that
nobody reads again, and its cache of indices, whose limit counts bytes on the disk, six times as
much in memory: together they grew by 30 MiB in eight hours. Without the one and with a small
other a recorder needs the same memory in the eighth hour as in the second, and is faster.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from acquisition.recording.layout import TableSpec

INDEX_CACHE_BYTES = 64 << 10
"""The open nodes of ten tables' indices need half of it."""


def growing_file(path: Path) -> h5py.File:
    """Open a new recording that will grow for hours, in HDF5's default (oldest) format."""
    file = h5py.File(path, "w", libver="earliest", rdcc_nbytes=0)
    cache = file.id.get_mdc_config()
    cache.set_initial_size = True
    cache.initial_size = cache.min_size = cache.max_size = INDEX_CACHE_BYTES
    cache.incr_mode = cache.flash_incr_mode = cache.decr_mode = 0
    file.id.set_mdc_config(cache)
    return file


class Appender:
    """Appends rows to a table that exists from the start.

    Args:
        file: The open file.
        spec: The table to make in it.
    """

    def __init__(self, file: h5py.File, spec: TableSpec) -> None:
        self._spec = spec
        self._pending: list[bytes] = []
        self._digest = hashlib.sha256()
        self._rows = 0
        self._dataset = file.create_dataset(
            spec.path,
            shape=(0, *spec.row_shape),
            maxshape=(None, *spec.row_shape),
            chunks=(spec.chunk_rows, *spec.row_shape),
            dtype=spec.dtype,
        )
        self._type = self._dataset.id.get_type()

    def add(self, rows: bytes) -> None:
        """Keep whole *rows* for the next flush."""
        self._pending.append(rows)

    def add_row(self, *values: int | bytes) -> None:
        """Keep one row of a table of records for the next flush."""
        self.add(np.array([values], dtype=self._spec.dtype).tobytes())

    def append_pending(self) -> None:
        """Append what was kept; the file itself is to be flushed afterwards."""
        if not self._pending:
            return
        data = b"".join(self._pending)
        self._pending.clear()
        rows = np.frombuffer(data, dtype=self._spec.dtype).reshape(-1, *self._spec.row_shape)
        self._write(rows)
        self._rows += len(rows)
        self._digest.update(data)

    def _write(self, rows: NDArray[Any]) -> None:
        """Write behind what is there.

        By HDF5's own calls: to resize and to assign to a slice takes four times as long, and is
        done for every table every quarter of a second.
        """
        table = self._dataset.id
        table.set_extent((self._rows + len(rows), *self._spec.row_shape))
        place = table.get_space()
        place.select_hyperslab((self._rows, *(0 for _ in self._spec.row_shape)), rows.shape)
        table.write(h5py.h5s.create_simple(rows.shape), place, rows, self._type)

    def account(self) -> tuple[int, str]:
        """Return the number of rows appended and the hash of their bytes, in hex."""
        return self._rows, self._digest.hexdigest()
