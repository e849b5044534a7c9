"""How a recording lies in its HDF5 file, schema version 1.

Root attributes, all fixed-length UTF-8 text but the integers:

    schema "perpend-recording", schema_version, status, uuid, started_utc, started_ns,
    software, identity_json, rig_json, target_json, person, condition, note, trial, content_sha256

Tables, uncompressed, chunked, growing along the first axis:

    /events, /faults, /link, /sync       the row types below
    /clock                               written at closing, a row for each segment: `CLOCK_DTYPE`
    /streams/<name>/counts               (n, channels) in the wire's own integer type
    /streams/<name>/blocks               one row for each block of the wire: `BLOCK_DTYPE`

The rows of a block in ``counts`` follow those of the block before. The wire's sequence number
is the low 32 bits of ``sample_number``. ``crc32`` covers the row before it and the block's
bytes in ``counts``, so that in a file whose recorder was killed every block can be told
whole from torn. A group is called as its stream if that is a plain word, else by its number.

``/clock`` says how the rig's clock ran against the recording machine's, by the questions and
answers of ``/sync``: host_ns + rate · (device time − device_us) · 1000, the RMS of the exchanges
used about that line, and how far it may be shifted as a whole. It came later: files without it
are as good, and it does not enter their content hash; nor is it in a file that was never closed.
Then it is worked out anew.

The content hash is the SHA-256 of, in this order: for each root attribute but
``content_sha256``, by name, ``name NUL value NUL`` (integers in decimal); for each table, by
path, ``path NUL rows NUL hash-of-its-bytes NUL``, where the hash is the SHA-256 in hex of
the rows as they lie in the file. Text is UTF-8, without the padding.

The default (oldest) format on purpose: with newer ones a file whose writer was killed will
not open (measured: 0 of 30). Nothing is compressed: a chunk that is rewritten in place while
being compressed was found torn in 17 of 100 kills during a flush, uncompressed ones in none.
"""

from __future__ import annotations

import hashlib
import re
import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass

import h5py
import numpy as np
from numpy.typing import NDArray

from acquisition.blocks import WIRE_DTYPES
from firmware_protocol.messages import StreamSpec

SCHEMA = "perpend-recording"
SCHEMA_VERSION = 1
RECORDING = "recording"
"""Status of a file that is being written, or whose writer was killed."""
COMPLETE = "complete"

STATUS_BYTES = 200
HASH_BYTES = 64
MAX_TEXT_BYTES = 60_000
"""HDF5 keeps attributes below 64 KiB in this format."""
INTEGER_ATTRIBUTES = ("schema_version", "started_ns", "trial")
OPTIONAL_ATTRIBUTES = ("trial",)
"""Came later: files without one are as good, and it does not enter their content hash."""
TEXT_ATTRIBUTES = (
    "schema",
    "status",
    "uuid",
    "started_utc",
    "software",
    "identity_json",
    "rig_json",
    "target_json",
    "person",
    "condition",
    "note",
    "content_sha256",
)


def text_dtype(size: int) -> np.dtype[np.bytes_]:
    """Return the type of UTF-8 text of fixed length *size* in bytes."""
    dtype: np.dtype[np.bytes_] = h5py.string_dtype("utf-8", size)
    return dtype


BLOCK_DTYPE = np.dtype(
    [
        ("sample_number", "<i8"),
        ("device_time_us", "<i8"),
        ("span_us", "<u4"),
        ("sample_count", "<u4"),
        ("arrival_ns", "<i8"),
        ("segment", "<u4"),
        ("crc32", "<u4"),
    ]
)
EVENT_KIND_BYTES = 24
EVENT_TEXT_BYTES = 1000
EVENT_DTYPE = np.dtype(
    [
        ("arrival_ns", "<i8"),
        ("device_time_us", "<i8"),
        ("kind", text_dtype(EVENT_KIND_BYTES)),
        ("text", text_dtype(EVENT_TEXT_BYTES)),
    ]
)
FAULT_DETAIL_BYTES = 64
FAULT_DTYPE = np.dtype(
    [
        ("device_time_us", "<u8"),
        ("code", "<u2"),
        ("stream_id", "<u2"),
        ("detail", text_dtype(FAULT_DETAIL_BYTES)),
    ]
)
LINK_FIELDS = (
    "frames",
    "bad_frames",
    "lost_samples",
    "repeated_samples",
    "unknown_messages",
    "rig_overrun_samples",
    "dropped_by_host_samples",
    "reordered_samples",
)
LINK_DTYPE = np.dtype([("arrival_ns", "<i8"), *((name, "<i8") for name in LINK_FIELDS)])
EARLIER_LINK_DTYPE = np.dtype([("arrival_ns", "<i8"), *((n, "<i8") for n in LINK_FIELDS[:-1])])
"""Of recordings made when a block out of order was told lost and repeated."""


@dataclass(frozen=True, slots=True)
class TableSpec:
    """A table as it must be.

    Attributes:
        path: In the file.
        dtype: Of a row's values.
        columns: Values in a row; 0 for a table of one axis.
        chunk_rows: Rows in a chunk.
        earlier: Of a row in older files: the same without the newest columns, which are 0 then.
        optional: Older files are without it.
    """

    path: str
    dtype: np.dtype[np.void] | np.dtype[np.signedinteger]
    columns: int
    chunk_rows: int
    earlier: np.dtype[np.void] | None = None
    optional: bool = False

    @property
    def row_shape(self) -> tuple[int, ...]:
        """Shape of one row."""
        return (self.columns,) if self.columns else ()

    @property
    def row_bytes(self) -> int:
        """Size of one row."""
        return self.dtype.itemsize * (self.columns or 1)


CHUNK_S = 8.0
MIN_CHUNK_ROWS, MAX_CHUNK_ROWS = 64, 65_536
BLOCKS_CHUNK_ROWS = 2048
"""Long chunks on purpose. Whenever one is added the index of the table changes on the disk, and
a kill within those microseconds can tear it: the newest chunk is lost, and, where the index
splits (at 64 chunks, then every 32), more. With chunks of 4 rows, flushed after every block,
3 of 350 killed files had a torn index; with 1024 rows none of 360."""
EVENTS = TableSpec("/events", EVENT_DTYPE, 0, 16)
FAULTS = TableSpec("/faults", FAULT_DTYPE, 0, 64)
LINK = TableSpec("/link", LINK_DTYPE, 0, 256, EARLIER_LINK_DTYPE)
SYNC_DTYPE = np.dtype(
    [
        ("asked_ns", "<i8"),
        ("received_us", "<u8"),
        ("sent_us", "<u8"),
        ("answered_ns", "<i8"),
        ("segment", "<u4"),
    ]
)
SYNC = TableSpec("/sync", SYNC_DTYPE, 0, 256)
CLOCK_DTYPE = np.dtype(
    [
        ("segment", "<u4"),
        ("answers", "<u4"),
        ("used", "<u4"),
        ("device_us", "<f8"),
        ("host_ns", "<f8"),
        ("rate", "<f8"),
        ("residual_s", "<f8"),
        ("bound_s", "<f8"),
    ]
)
CLOCK = TableSpec("/clock", CLOCK_DTYPE, 0, 64, optional=True)


def stream_tables(spec: StreamSpec) -> tuple[TableSpec, TableSpec]:
    """Return where the counts and the blocks of a stream lie."""
    group = f"/streams/{_group_name(spec)}"
    dtype = WIRE_DTYPES[spec.sample_type]
    return (
        TableSpec(f"{group}/counts", dtype, len(spec.channels), _chunk_rows(spec.rate_hz)),
        TableSpec(f"{group}/blocks", BLOCK_DTYPE, 0, BLOCKS_CHUNK_ROWS),
    )


def all_tables(streams: tuple[StreamSpec, ...]) -> tuple[TableSpec, ...]:
    """Return every table of a recording of *streams*."""
    return (
        EVENTS,
        FAULTS,
        LINK,
        SYNC,
        CLOCK,
        *(table for spec in streams for table in stream_tables(spec)),
    )


def _chunk_rows(rate_hz: float) -> int:
    wanted = int(rate_hz * CHUNK_S)
    return 1 << min(max(wanted, MIN_CHUNK_ROWS) - 1, MAX_CHUNK_ROWS - 1).bit_length()


def _group_name(spec: StreamSpec) -> str:
    # What a rig calls its streams never becomes a path.
    plain = re.fullmatch(r"[a-z][a-z0-9_]{0,31}", spec.name)
    return spec.name if plain else str(spec.stream_id)


_BLOCK_HEAD = struct.Struct("<qqIIqI")
BLOCK_HEAD_BYTES = _BLOCK_HEAD.size
"""What of a row of the blocks table stands before the checksum, and is covered by it."""
_CRC = struct.Struct("<I")


def block_row(
    *,
    sample_number: int,
    device_time_us: int,
    span_us: int,
    sample_count: int,
    arrival_ns: int,
    segment: int,
    data: bytes,
) -> bytes:
    """Return the bytes of a row of the blocks table; *data* are the block's counts."""
    head = _BLOCK_HEAD.pack(
        sample_number, device_time_us, span_us, sample_count, arrival_ns, segment
    )
    return head + _CRC.pack(zlib.crc32(data, zlib.crc32(head)))


def whole_blocks(
    blocks: NDArray[np.void], counts: bytes, row_bytes: int, *, shift_rows: int = 0
) -> NDArray[np.bool_]:
    """Tell which rows of the blocks table fit their counts, by their checksums.

    Args:
        blocks: The blocks table.
        counts: The bytes of the counts table.
        row_bytes: Bytes of one of its rows.
        shift_rows: How much further on in the counts each block is looked for.
    """
    sizes = blocks["sample_count"].astype(np.int64) * row_bytes
    stops = np.cumsum(sizes) + shift_rows * row_bytes
    heads = blocks.tobytes()
    whole = (sizes > 0) & (stops <= len(counts)) & (stops >= sizes)
    view = memoryview(counts)
    for row in np.flatnonzero(whole):
        start = row * BLOCK_DTYPE.itemsize
        crc = zlib.crc32(heads[start : start + _BLOCK_HEAD.size])
        data = view[stops[row] - sizes[row] : stops[row]]
        whole[row] = zlib.crc32(data, crc) == blocks["crc32"][row]
    return np.asarray(whole, dtype=np.bool_)


def content_digest(
    attributes: Mapping[str, bytes | int], tables: Mapping[str, tuple[int, str]]
) -> str:
    """Return the content hash, in hex.

    Args:
        attributes: The root attributes.
        tables: By path, the number of rows and the SHA-256 of their bytes in hex.
    """
    digest = hashlib.sha256()
    for name, value in sorted(attributes.items()):
        if name != "content_sha256":
            text = value if isinstance(value, bytes) else str(value).encode()
            digest.update(name.encode() + b"\0" + text + b"\0")
    for path, (rows, hexdigest) in sorted(tables.items()):
        digest.update(f"{path}\0{rows}\0{hexdigest}\0".encode())
    return digest.hexdigest()
