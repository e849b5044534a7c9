"""One growing table of a recording: gathers bytes, appends them in blocks, hashes on the way."""

from __future__ import annotations

import hashlib

import h5py
import numpy as np

from acquisition.recording.layout import TableSpec


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
        total = self._rows + len(rows)
        self._dataset.resize(total, axis=0)
        self._dataset[self._rows : total] = rows
        self._rows = total
        self._digest.update(data)

    def account(self) -> tuple[int, str]:
        """Return the number of rows appended and the hash of their bytes, in hex."""
        return self._rows, self._digest.hexdigest()
