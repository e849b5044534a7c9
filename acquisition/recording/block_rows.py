"""Sample blocks as rows of a recording's tables, many at once.

A block for itself takes longer to put into rows than to be heard. So they are gathered until
something is to be written, and whatever can be done for all of them is done in one go.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from acquisition.blocks import StreamBlock
from acquisition.recording.layout import BLOCK_DTYPE, BLOCK_HEAD_BYTES

_HEADS = np.dtype([("head", f"V{BLOCK_HEAD_BYTES}"), ("crc32", "<u4")])
"""A row of the blocks table as its checksum sees it."""


def block_rows(blocks: Sequence[StreamBlock]) -> tuple[bytes, bytes]:
    """Return the bytes that the counts table and the blocks table get of some blocks.

    Args:
        blocks: Of one stream, in the order in which they came, at least one.
    """
    counts = [block.wire["values"].tobytes() for block in blocks]
    rows = _rows(blocks)
    heads = rows.view(_HEADS)["head"].tolist()
    rows["crc32"] = list(map(zlib.crc32, _data_of_rows(blocks, counts), map(zlib.crc32, heads)))
    return b"".join(counts), rows.tobytes()


def _rows(blocks: Sequence[StreamBlock]) -> NDArray[np.void]:
    """Return the rows of the blocks table, without checksums."""
    wires = [block.wire for block in blocks]
    rows_of_each = [len(wire) for wire in wires]
    rows = np.zeros(sum(rows_of_each), dtype=BLOCK_DTYPE)
    for name in ("device_time_us", "span_us", "sample_count"):
        rows[name] = np.concatenate([wire[name] for wire in wires])
    for name in ("arrival_ns", "segment"):
        rows[name] = np.repeat([getattr(block, name) for block in blocks], rows_of_each)
    samples = rows["sample_count"].astype(np.int64)
    begins = np.cumsum(samples) - samples
    first_rows = np.cumsum(rows_of_each) - rows_of_each
    shifts = [block.sample_number for block in blocks] - begins[first_rows]
    rows["sample_number"] = begins + np.repeat(shifts, rows_of_each)
    return rows


def _data_of_rows(blocks: Sequence[StreamBlock], counts: Sequence[bytes]) -> Iterator[bytes]:
    for block, data in zip(blocks, counts, strict=True):
        if len(block.wire) == 1:
            yield data
        else:
            yield from np.frombuffer(data, dtype=f"V{len(data) // len(block.wire)}").tolist()
