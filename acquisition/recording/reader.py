"""Reads recordings: closed ones, and part files whose recorder was killed.

A closed file must be consistent. In a part file the last flush may be torn: each block is
checked by its checksum, and one that is not whole is left out, which shows as lost samples.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.blocks import sample_times_us
from acquisition.clock_fit import SegmentClock
from acquisition.errors import DescriptionError, RecordingError
from acquisition.plain_text import harmless, one_line
from acquisition.recording import layout
from acquisition.recording.checked import CheckedFile, damage
from acquisition.recording.clock_rows import clock_rows, clocks_of, exchanges_of
from acquisition.recording.layout import TableSpec
from acquisition.recording.model import Event, LinkCounts, Recording, StreamData
from acquisition.rig import RigDescription, rig_from_json
from firmware_protocol.messages import Fault, FaultCode, Identity, SampleBlock, StreamSpec

HASH_ROWS = 1 << 16
SEQUENCE_MASK = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class WireStream:
    """One stream of a recording as the wire brought it.

    Attributes:
        spec: The stream as the rig described it.
        blocks: Rows of the blocks table.
        counts: Shape (n, channels), in the wire's integer type, the blocks' rows joined.
        torn_blocks: Blocks left out because they did not survive the recorder's end.
    """

    spec: StreamSpec
    blocks: NDArray[np.void]
    counts: NDArray[np.signedinteger]
    torn_blocks: int


@dataclass(frozen=True, slots=True)
class WireBlock:
    """A block as it came.

    Attributes:
        arrival_ns: Host monotonic clock of the recording machine.
        segment: Which stretch of the recording.
        block: What the wire said.
    """

    arrival_ns: int
    segment: int
    block: SampleBlock


def read_recording(path: Path | str) -> Recording:
    """Read a whole recording.

    Args:
        path: A closed recording, or a ``.part`` file left by a recorder that was killed (its
            status is then ``recording``).

    Raises:
        RecordingError: It is missing, no recording, of another schema, or damaged.
    """
    path = Path(path)
    with CheckedFile(path) as file:
        streams = {wire.spec.name: _stream_data(wire) for wire in wire_streams(file)}
        sha256 = hash_of(file)
        return Recording(
            source=path,
            uuid=file.text("uuid"),
            started_utc=file.text("started_utc"),
            started_ns=file.integer("started_ns"),
            status=layout.RECORDING if file.cut_off else file.text("status"),
            software=file.text("software"),
            identity=file.identity,
            rig=_rig(file),
            target_json=file.text("target_json"),
            label=file.label(),
            streams=streams,
            events=_events(file),
            faults=_faults(file),
            syncs=exchanges_of(file.rows(layout.SYNC)),
            clocks=_clocks(file),
            counts=link_counts(file),
            sha256=sha256,
            changed=not file.cut_off and file.text("content_sha256") != sha256,
        )


def read_unchanged(path: Path | str) -> Recording:
    """Read a whole recording that is to count together with others.

    In a table of many nobody would see the one finding that says its numbers mean nothing.

    Raises:
        RecordingError: As `read_recording`, or it was changed after it was closed.
    """
    recording = read_recording(path)
    if recording.changed:
        raise _changed(path)
    return recording


def unchanged_sha256(path: Path | str) -> str:
    """Return the content hash of a recording that `read_unchanged` would read.

    Raises:
        RecordingError: It is no recording, cannot be read, or was changed after it was closed.
    """
    with CheckedFile(Path(path)) as file:
        return _unchanged(file)


def content_sha256(path: Path | str) -> str:
    """Return the hash of what is in a recording now; `layout` says of what, in which order.

    Raises:
        RecordingError: It is no recording, or cannot be read.
    """
    with CheckedFile(Path(path)) as file:
        return hash_of(file)


def hash_of(file: CheckedFile) -> str:
    """Return the content hash of an open recording."""
    tables = layout.all_tables(file.identity.streams)
    return layout.content_digest(
        file.attributes,
        {table.path: _account(file, table) for table in tables if not file.lacks(table)},
    )


def read_wire(path: Path | str) -> tuple[Identity, tuple[WireStream, ...]]:
    """Return what the rig said of itself, and its streams as the wire brought them.

    Raises:
        RecordingError: As `read_recording`, or it was changed after it was closed: played back it
            would get new checksums, and pass as whole.
    """
    with CheckedFile(Path(path)) as file:
        _unchanged(file)
        return file.identity, tuple(wire_streams(file))


def _unchanged(file: CheckedFile) -> str:
    sha256 = hash_of(file)
    if not file.cut_off and file.text("content_sha256") != sha256:
        raise _changed(file.path)
    return sha256


def _changed(path: Path | str) -> RecordingError:
    return RecordingError(
        f"{path}: was changed after it was closed; `perpend verify` says what is wrong"
    )


def wire_blocks(streams: tuple[WireStream, ...]) -> Iterator[WireBlock]:
    """Yield the blocks of all streams in the order of their arrival."""
    arrivals = np.concatenate([stream.blocks["arrival_ns"] for stream in streams])
    segments = np.concatenate([stream.blocks["segment"] for stream in streams])
    source = np.repeat(np.arange(len(streams)), [len(stream.blocks) for stream in streams])
    each = [_blocks_of(stream) for stream in streams]
    for index in np.lexsort((arrivals, segments)):
        yield next(each[source[index]])


def _blocks_of(stream: WireStream) -> Iterator[WireBlock]:
    start = 0
    for row in stream.blocks:
        number, time_us, span_us, count, arrival_ns, segment, _ = row.item()
        data = stream.counts[start : start + count].tobytes()
        start += count
        sequence = number & SEQUENCE_MASK
        block = SampleBlock(stream.spec.stream_id, sequence, time_us, span_us, count, data)
        yield WireBlock(arrival_ns, segment, block)


def wire_streams(file: CheckedFile) -> Iterator[WireStream]:
    """Yield the streams of an open recording; of a cut-off one the whole blocks only.

    Raises:
        RecordingError: A closed one contradicts itself.
    """
    for spec in file.identity.streams:
        counts_table, blocks_table = layout.stream_tables(spec)
        counts, blocks = file.rows(counts_table), file.rows(blocks_table)
        with damage(file.path):
            if file.cut_off:
                yield _whole_part(spec, blocks, counts, counts_table.row_bytes)
            else:
                yield _consistent(spec, blocks, counts)


def _consistent(spec: StreamSpec, blocks: NDArray[Any], counts: NDArray[Any]) -> WireStream:
    described = int(blocks["sample_count"].sum(dtype=np.int64))
    if described != len(counts) or not blocks["sample_count"].all():
        raise ValueError(
            f"stream {spec.name!r} has {len(counts)} samples, its blocks tell of {described}"
        )
    return WireStream(spec, blocks, counts, 0)


def _whole_part(
    spec: StreamSpec, blocks: NDArray[Any], counts: NDArray[Any], row_bytes: int
) -> WireStream:
    data = counts.tobytes()
    sizes = blocks["sample_count"].astype(np.int64)
    stops = np.cumsum(sizes)
    whole = layout.whole_blocks(blocks, data, row_bytes)
    if not whole.all():
        # Behind a block that lies about its size the others are found from the end.
        shift = len(counts) - int(stops[-1])
        found = ~whole & layout.whole_blocks(blocks, data, row_bytes, shift_rows=shift)
        stops[found] += shift
        whole |= found
    kept = sizes[whole]
    rows = np.repeat(stops[whole] - np.cumsum(kept), kept) + np.arange(kept.sum())
    return WireStream(spec, blocks[whole], counts[rows], int((~whole).sum()))


def _stream_data(wire: WireStream) -> StreamData:
    blocks = wire.blocks
    sizes = blocks["sample_count"].astype(np.int64)
    number = np.repeat(blocks["sample_number"] - (np.cumsum(sizes) - sizes), sizes)
    number += np.arange(len(number))
    times = sample_times_us(blocks["device_time_us"], blocks["span_us"].astype(np.int64), sizes)
    data = StreamData(
        spec=wire.spec,
        sample_number=number,
        device_time_us=times,
        counts=wire.counts.astype(np.int32),
        segment=np.repeat(blocks["segment"].astype(np.int64), sizes),
        arrival_ns=np.repeat(blocks["arrival_ns"], sizes),
    )
    for array in (data.sample_number, times, data.counts, data.segment, data.arrival_ns):
        array.flags.writeable = False
    return data


def _rig(file: CheckedFile) -> RigDescription:
    try:
        return rig_from_json(file.text("rig_json"), where=file.path)
    except (DescriptionError, RecursionError) as cause:
        raise RecordingError(f"{file.path}: its rig description is no good ({cause})") from cause


def _events(file: CheckedFile) -> tuple[Event, ...]:
    return tuple(
        Event(arrival, time, _decoded(kind), _decoded(text))
        for arrival, time, kind, text in file.rows(layout.EVENTS).tolist()
        if kind  # an event has one; a row without is the torn end of a part file
    )


def _clocks(file: CheckedFile) -> tuple[SegmentClock, ...]:
    """Return the lines as they were fitted at closing, anew where they were not."""
    if file.cut_off or file.lacks(layout.CLOCK):
        return clocks_of(clock_rows(file.rows(layout.SYNC)))
    return clocks_of(file.rows(layout.CLOCK))


def _faults(file: CheckedFile) -> tuple[Fault, ...]:
    with damage(file.path):
        return tuple(
            Fault(time, FaultCode(code), stream_id, one_line(_decoded(detail)))
            for time, code, stream_id, detail in file.rows(layout.FAULTS).tolist()
            if code
        )


def link_counts(file: CheckedFile) -> LinkCounts:
    """Return the accounts as last written to an open recording."""
    rows = file.rows(layout.LINK)
    rows = rows[rows["frames"] > 0]
    if not len(rows):
        return LinkCounts()
    return LinkCounts(**{name: int(rows[-1][name]) for name in layout.LINK_FIELDS})


def _decoded(text: bytes) -> str:
    return harmless(text.decode("utf-8", "replace"))


def _account(file: CheckedFile, table: TableSpec) -> tuple[int, str]:
    digest, total = hashlib.sha256(), file.row_count(table)
    for start in range(0, total, HASH_ROWS):
        digest.update(file.stored_rows(table, start, start + HASH_ROWS).tobytes())
    return total, digest.hexdigest()
