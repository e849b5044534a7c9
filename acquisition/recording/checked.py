"""A recording file opened with distrust: nothing is allocated before it fits the schema.

Refused are links of any kind but hard ones, data kept in other files, virtual and compressed
tables, other types and shapes than the schema's, and sizes that the file cannot hold.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Self

import h5py
import msgspec
import numpy as np
from numpy.typing import NDArray

from acquisition.errors import RecordingError
from acquisition.plain_text import harmless, one_line
from acquisition.recording import layout
from acquisition.recording.layout import TableSpec
from acquisition.recording.model import TrialLabel
from acquisition.recording.naming import part_path
from firmware_protocol.messages import Identity
from firmware_protocol.table import fault_of_table

SIGNATURE = b"\x89HDF\r\n\x1a\n"
TORN_BYTES = 8 << 20
"""How much more than is on the disk a file may claim whose recorder was killed."""


@contextlib.contextmanager
def damage(path: Path) -> Iterator[None]:
    """Turn whatever HDF5 raises on a broken file into one line.

    Raises:
        RecordingError: Something inside was raised.
    """
    try:
        yield
    except BlockingIOError as cause:
        raise RecordingError(f"{path}: is being recorded right now; wait for its end") from cause
    except OSError as cause:
        raise RecordingError(f"{path}: is damaged ({_first_line(cause)})") from cause
    except (RuntimeError, KeyError, ValueError, TypeError, AttributeError) as cause:
        raise RecordingError(f"{path}: is damaged ({_first_line(cause)})") from cause


class CheckedFile:
    """An open recording whose metadata and tables have been checked.

    Args:
        path: The file.
        image: Its bytes, mended, to be read instead. Then tables that are no good count as
            empty, and the file as cut off: what is in it must prove itself by its checksums.

    Attributes:
        path: The file.
        attributes: Root attributes, text as UTF-8 bytes.
        identity: What the rig said of itself.
        cut_off: It was never closed: its recorder was killed, or still runs.
        lost_tables: Of an image, why a table is no good, by its path.

    Raises:
        RecordingError: It is no recording this program can read; says why in one line.
    """

    def __init__(self, path: Path, *, image: bytes | None = None) -> None:
        self.path = path
        self.lost_tables: dict[str, str] = {}
        self._mended = image is not None
        size = _size_of_hdf5(path) if image is None else len(image)
        with damage(path):
            opened = path if image is None else h5py.h5f.open_file_image(image)
            self._file = h5py.File(opened, "r")
        try:
            with damage(path):
                self._check(size)
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def text(self, name: str) -> str:
        """Return a text attribute."""
        value = self.attributes[name]
        text = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
        return harmless(text)

    def integer(self, name: str) -> int:
        """Return an integer attribute, 0 if it is an optional one that is not there."""
        return int(self.attributes.get(name, 0))

    def label(self) -> TrialLabel:
        """Return who and what this is."""
        return TrialLabel(
            self.text("person"), self.text("condition"), self.text("note"), self.integer("trial")
        )

    def rows(self, table: TableSpec, start: int = 0, stop: int | None = None) -> NDArray[Any]:
        """Return rows of a table; in a cut-off file zeros stand for a chunk that was torn.

        Raises:
            RecordingError: They cannot be read.
        """
        stored = self.stored_rows(table, start, stop)
        if stored.dtype == table.dtype:
            return stored
        rows = np.zeros(stored.shape, dtype=table.dtype)
        for name in stored.dtype.names or ():
            rows[name] = stored[name]
        return rows

    def stored_rows(
        self, table: TableSpec, start: int = 0, stop: int | None = None
    ) -> NDArray[Any]:
        """Return rows of a table with the columns that the file has, as its hash was made of them.

        Raises:
            RecordingError: They cannot be read.
        """
        if self._has_no(table):
            return np.empty((0, *table.row_shape), dtype=table.dtype)
        with damage(self.path):
            dataset = self._tables[table.path]
            try:
                return np.asarray(dataset[start:stop])
            except (OSError, RuntimeError):
                if not self.cut_off:
                    raise
            return _readable_chunks(dataset, table)[start:stop]

    def row_count(self, table: TableSpec) -> int:
        """Return how many rows a table has."""
        return 0 if self._has_no(table) else int(self._tables[table.path].shape[0])

    def lacks(self, table: TableSpec) -> bool:
        """Tell whether this is an older file, without a table that came later."""
        return table.path in self._lacking

    def _has_no(self, table: TableSpec) -> bool:
        return table.path in self.lost_tables or self.lacks(table)

    def strangers(self) -> list[str]:
        """Return what the file holds beyond the schema: attributes, tables, groups, links."""
        known = {*layout.TEXT_ATTRIBUTES, *layout.INTEGER_ATTRIBUTES}
        tables = set(self._tables)
        with damage(self.path):
            found = [f"attribute {name}" for name in self._file.attrs if name not in known]
            for group in sorted(_groups_above(tables)):
                names = {f"{group}/{name}" for name in self._file[group or "/"]}
                found += sorted(names - tables - _groups_above(tables))
            found += [
                f"attributes of {path}" for path in sorted(tables) if self._tables[path].attrs
            ]
        return found

    def _check(self, size: int) -> None:
        self._check_schema()
        self.attributes = {
            name: _read_attribute(self._file, name)
            for name in (*layout.TEXT_ATTRIBUTES, *layout.INTEGER_ATTRIBUTES)
            if name in self._file.attrs or name not in layout.OPTIONAL_ATTRIBUTES
        }
        closed = self.attributes["status"] != layout.RECORDING.encode()
        self.cut_off = self._mended or not (closed and self.attributes["content_sha256"])
        self.identity = _identity(self.text("identity_json"))
        tables = layout.all_tables(self.identity.streams)
        self._tables: dict[str, h5py.Dataset] = {}
        self._lacking: set[str] = set()
        for table in tables:
            self._open(table)
        claimed = sum(self._claimed_bytes(table) for table in tables)
        if claimed > size + TORN_BYTES * self.cut_off:
            raise ValueError(f"claims to hold {claimed} bytes, but is only {size} long")

    def _claimed_bytes(self, table: TableSpec) -> int:
        if self._has_no(table):
            return 0
        return int(self._tables[table.path].size * self._tables[table.path].dtype.itemsize)

    def _open(self, table: TableSpec) -> None:
        # Asked of the link itself: whatever stands there under that name is looked at.
        if table.optional and not self._file.id.links.exists(table.path[1:].encode()):
            self._lacking.add(table.path)
            return
        try:
            with damage(self.path):
                self._tables[table.path] = _open_table(self._file, table)
        except RecordingError as error:
            if not self._mended:
                raise
            self.lost_tables[table.path] = str(error).removeprefix(f"{self.path}: ")

    def _check_schema(self) -> None:
        names = ("schema", "schema_version")
        if not all(name in self._file.attrs for name in names):
            raise RecordingError(f"{self.path}: is HDF5, but not a recording of this program")
        schema, version = (_read_attribute(self._file, name) for name in names)
        if schema != layout.SCHEMA.encode():
            raise RecordingError(f"{self.path}: is HDF5, but not a recording of this program")
        if version != layout.SCHEMA_VERSION:
            raise RecordingError(
                f"{self.path}: has schema version {version!r}, this program reads "
                f"{layout.SCHEMA_VERSION}; use the version of perpend it was made with, or newer"
            )


def _size_of_hdf5(path: Path) -> int:
    try:
        if not path.exists():
            part = part_path(path)
            hint = f"; {part} is there, left by a recorder that was killed" * part.exists()
            raise RecordingError(f"{path}: no such file{hint}")
        if not path.is_file():
            raise RecordingError(f"{path}: is not a file; name a recording")
        size = path.stat().st_size
        with path.open("rb") as file:
            start = file.read(len(SIGNATURE))
    except OSError as cause:
        raise RecordingError(f"{path}: cannot be read ({cause.strerror})") from cause
    if size == 0:
        raise RecordingError(f"{path}: is empty (0 bytes): nothing was ever recorded in it")
    if start != SIGNATURE:
        raise RecordingError(f"{path}: is not a recording (not HDF5)")
    return size


def _read_attribute(file: h5py.File, name: str) -> bytes | int:
    if name not in file.attrs:
        raise ValueError(f"attribute {name} is missing")
    attribute = file.attrs.get_id(name)
    if name in layout.INTEGER_ATTRIBUTES:
        if attribute.shape != () or attribute.dtype != np.dtype("<i8"):
            raise ValueError(f"attribute {name} is not one integer")
        return int(file.attrs[name])
    kind = attribute.get_type()
    fixed = isinstance(kind, h5py.h5t.TypeStringID) and not kind.is_variable_str()
    if attribute.shape != () or not fixed or kind.get_size() > layout.MAX_TEXT_BYTES:
        raise ValueError(f"attribute {name} is not a text of the schema")
    value = np.empty((), dtype=f"S{kind.get_size()}")
    attribute.read(value, mtype=kind)
    return bytes(value.item())


def _identity(text: str) -> Identity:
    identity = msgspec.json.decode(text, type=Identity)
    fault = fault_of_table(identity.streams)
    if fault is not None:
        raise ValueError(f"its stream table makes no sense: {fault.text}")
    return replace(identity, firmware_version=one_line(identity.firmware_version))


def _open_table(file: h5py.File, table: TableSpec) -> h5py.Dataset:
    group = file
    for name in table.path.strip("/").split("/"):
        # Asked of the link itself: opening it would follow it.
        if not isinstance(group, h5py.Group) or not group.id.links.exists(name.encode()):
            raise ValueError(f"{table.path} is missing")
        if group.id.links.get_info(name.encode()).type != h5py.h5l.TYPE_HARD:
            raise ValueError(f"{table.path} is a link to somewhere else")
        group = group[name]
    if not isinstance(group, h5py.Dataset):
        raise TypeError(f"{table.path} is no table")
    # None is left out: for numpy it equals the type of plain numbers.
    known = [kind for kind in (table.dtype, table.earlier) if kind is not None]
    if group.dtype not in known or group.ndim < 1 or group.shape[1:] != table.row_shape:
        raise ValueError(f"{table.path} has other columns than the schema's")
    chunks = (table.chunk_rows, *table.row_shape)
    if group.chunks != chunks or group.id.get_create_plist().get_nfilters():
        raise ValueError(f"{table.path} is stored in another way than the schema's")
    return group


def _groups_above(tables: set[str]) -> set[str]:
    parts = [path.split("/")[:-1] for path in tables]
    return {"/".join(part[:length]) for part in parts for length in range(1, len(part) + 1)}


def _readable_chunks(dataset: h5py.Dataset, table: TableSpec) -> NDArray[Any]:
    rows = np.zeros(dataset.shape, dtype=dataset.dtype)
    for start in range(0, len(rows), table.chunk_rows):
        # A kill within a flush can leave the newest chunk outside of what the file calls its own.
        with contextlib.suppress(OSError, RuntimeError):
            rows[start : start + table.chunk_rows] = dataset[start : start + table.chunk_rows]
    return rows


def _first_line(cause: Exception) -> str:
    lines = str(cause).strip("'\"").splitlines() or [type(cause).__name__]
    return lines[0]
