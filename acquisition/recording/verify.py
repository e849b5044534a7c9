"""Is a recording whole? Everything that can be checked without knowing what it means.

Faults are contradictions: the file is not what its recorder wrote. What is missing (a killed
recorder, lost samples) is honest, and told apart: such a file can be used.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from uuid import UUID

import numpy as np

from acquisition.errors import DescriptionError, RecordingError
from acquisition.intake import SILENT_US
from acquisition.recording import layout
from acquisition.recording.checked import CheckedFile, damage
from acquisition.recording.label import check_label
from acquisition.recording.model import LinkCounts
from acquisition.recording.naming import PART_SUFFIX
from acquisition.recording.raw_log import RAW_LOG_EVENT, find_raw_log, raw_log_state
from acquisition.recording.reader import WireStream, hash_of, link_counts, wire_streams
from acquisition.rig import rig_from_json
from firmware_protocol.codec import MAX_BLOCK_SAMPLES

STOPPED = "stopped: "


@dataclass(frozen=True, slots=True)
class Verified:
    """What was found.

    Attributes:
        path: The file.
        faults: What contradicts itself, one sentence each.
        missing: What is honestly not there, one sentence each.
        sha256: Hash of what is in the file now, empty if it cannot be read.
        samples: By stream.
    """

    path: Path
    faults: tuple[str, ...]
    missing: tuple[str, ...] = ()
    sha256: str = ""
    samples: tuple[tuple[str, int], ...] = ()

    @property
    def whole(self) -> bool:
        """Whether nothing is wrong and nothing is missing."""
        return not self.faults and not self.missing


def verify_recording(path: Path | str) -> Verified:
    """Check schema, checksums, numbering, times, end marker and content hash of a recording."""
    path = Path(path)
    try:
        with CheckedFile(path) as file:
            return _verify(file)
    except RecordingError as error:
        return Verified(path, (str(error).removeprefix(f"{path}: "),))


def _verify(file: CheckedFile) -> Verified:
    faults = [*_faults_of_head(file), *_faults_of_blocks(file)]
    streams, sha256 = tuple(wire_streams(file)), hash_of(file)
    for wire in streams:
        faults += _faults_of_stream(wire)
    with damage(file.path):
        faults += [*_faults_of_segments(streams), *_faults_of_end(file, sha256)]
        missing = [*_missing(file, streams, link_counts(file))]
    for what, honest in _of_raw_log(file):
        (missing if honest else faults).append(what)
    samples = tuple((wire.spec.name, len(wire.counts)) for wire in streams)
    return Verified(file.path, tuple(faults), tuple(missing), sha256, samples)


def _faults_of_head(file: CheckedFile) -> Iterator[str]:
    for name in file.strangers():
        yield f"{name} is in the file, but not in the schema; nobody vouches for it"
    try:
        UUID(file.text("uuid"))
    except ValueError:
        yield f"uuid {file.text('uuid')!r} is none"
    try:
        datetime.fromisoformat(file.text("started_utc"))
    except ValueError:
        yield f"started_utc {file.text('started_utc')!r} is no date"
    try:
        check_label(file.label())
        rig_from_json(file.text("rig_json"), where="rig description")
    except (RecordingError, DescriptionError, RecursionError) as cause:
        yield str(cause)


def _faults_of_blocks(file: CheckedFile) -> Iterator[str]:
    """In a closed file every block must fit its checksum; a cut-off one may end torn."""
    if file.cut_off:
        return
    for spec in file.identity.streams:
        counts, blocks = layout.stream_tables(spec)
        rows = file.rows(blocks)
        whole = layout.whole_blocks(rows, file.rows(counts).tobytes(), counts.row_bytes)
        torn = np.flatnonzero(~whole)
        if len(torn):
            yield (
                f"stream {spec.name!r}: {len(torn)} of {len(rows)} blocks do not fit their "
                f"checksum, the first from sample {rows['sample_number'][torn[0]]} on"
            )


def _faults_of_stream(wire: WireStream) -> Iterator[str]:
    blocks, name = wire.blocks, wire.spec.name
    if not len(blocks):
        return
    same = np.diff(blocks["segment"].astype(np.int64)) == 0
    number, time_us = blocks["sample_number"], blocks["device_time_us"]
    number_after = number + blocks["sample_count"].astype(np.int64)
    time_last_us = time_us + blocks["span_us"].astype(np.int64)
    checks = {
        "sample numbers go back": same & (number[1:] < number_after[:-1]),
        "the rig's clock goes back": same & (time_us[1:] < time_last_us[:-1]),
        "blocks do not stand in order of arrival": np.diff(blocks["arrival_ns"]) < 0,
        "segments go back": np.diff(blocks["segment"].astype(np.int64)) < 0,
    }
    for what, where in checks.items():
        if where.any():
            first = number[1:][where][0]
            yield f"stream {name!r}: {what} ({where.sum()} times, first at sample {first})"
    if (number < 0).any() or (time_us < 0).any():
        yield f"stream {name!r}: a sample number or a time is less than 0"


def _faults_of_segments(streams: Sequence[WireStream]) -> Iterator[str]:
    """Check that a segment begins only after every stream has ended the one before."""
    blocks = np.concatenate([wire.blocks[["segment", "arrival_ns"]] for wire in streams])
    inside = blocks[np.argsort(blocks["arrival_ns"], kind="stable")]["segment"].astype(np.int64)
    if (np.diff(inside) < 0).any():
        yield "segments of different streams overlap in their time of arrival"


def _faults_of_end(file: CheckedFile, sha256: str) -> Iterator[str]:
    status, written = file.text("status"), file.text("content_sha256")
    if status == layout.RECORDING:
        if written:
            yield "says it is still being recorded, but has the content hash of a closed file"
        return
    if status != layout.COMPLETE and not status.startswith(STOPPED):
        yield f"status {status!r} is none of the schema's"
    if not written:
        yield f"status is {status!r}, but there is no content hash"
    elif written != sha256:
        yield (
            f"content hash is {sha256[:12]}…, at closing it was {written[:12]}…: "
            "something was changed afterwards"
        )


def _of_raw_log(file: CheckedFile) -> Iterator[tuple[str, bool]]:
    """Yield what is wrong with the raw log, and whether it is honest: its recorder was killed."""
    log = find_raw_log(file.path)
    if log is None:
        if RAW_LOG_EVENT.encode() in file.rows(layout.EVENTS)["kind"]:
            yield "the raw log of its bytes is not beside it any more", True
        return
    try:
        state = raw_log_state(log)
    except RecordingError as error:
        yield str(error), False
        return
    if state.uuid not in ("", file.text("uuid")):
        yield f"{log} belongs to another recording", False
    if state.torn:
        yield f"raw log {log} {state.torn}", log.name.endswith(PART_SUFFIX)


def _missing(file: CheckedFile, streams: Sequence[WireStream], counts: LinkCounts) -> Iterator[str]:
    status = file.text("status")
    if file.cut_off:
        yield "was never closed: its recorder was killed, up to a second is missing at the end"
    elif status.startswith(STOPPED):
        yield f"ended early ({status.removeprefix(STOPPED)})"
    for wire in streams:
        if wire.torn_blocks:
            yield f"stream {wire.spec.name!r}: {wire.torn_blocks} torn blocks are left out"
    for wire in streams:
        yield from _paused(wire)
    yield from _silent(streams)
    breaks = max((len(np.unique(wire.blocks["segment"])) for wire in streams), default=1) - 1
    if breaks > 0:
        times = "once" if breaks == 1 else f"{breaks} times"
        yield f"the line or the rig was away {times}; what happened meanwhile is not recorded"
    yield from _lost(sum(map(jumped_samples, streams)), counts, cut_off=file.cut_off)
    yield from _dropped(counts)


def _longest_pause_us(wire: WireStream) -> float:
    return SILENT_US + MAX_BLOCK_SAMPLES * 1e6 / wire.spec.rate_hz


def _paused(wire: WireStream) -> Iterator[str]:
    """Yield how long a stream was silent between blocks whose numbers go on without a jump."""
    blocks = wire.blocks
    number_after = blocks["sample_number"] + blocks["sample_count"].astype(np.int64)
    end_us = blocks["device_time_us"] + blocks["span_us"].astype(np.int64)
    goes_on = blocks["sample_number"][1:] == number_after[:-1]
    same = np.diff(blocks["segment"].astype(np.int64)) == 0
    pause_us = (blocks["device_time_us"][1:] - end_us[:-1])[goes_on & same]
    pauses_us = pause_us[pause_us > _longest_pause_us(wire)]
    if len(pauses_us):
        times = "once" if len(pauses_us) == 1 else f"{len(pauses_us)} times"
        yield (
            f"stream {wire.spec.name!r} was silent {times} in between, "
            f"for {pauses_us.sum() * 1e-6:.1f} s in all"
        )


def _silent(streams: Sequence[WireStream]) -> Iterator[str]:
    """Yield which streams ended, in some segment, long before the others."""
    first_us: dict[int, int] = {}
    ends_us: dict[int, dict[str, int]] = {}
    for wire in streams:
        segments, begins = np.unique(wire.blocks["segment"], return_index=True)
        for number, segment in enumerate(segments.tolist()):
            stop = [*begins, len(wire.blocks)][number + 1]
            first, last = wire.blocks[begins[number]], wire.blocks[stop - 1]
            time_us = int(first["device_time_us"])
            first_us[segment] = min(time_us, first_us.get(segment, time_us))
            end_us = int(last["device_time_us"]) + int(last["span_us"])
            ends_us.setdefault(segment, {})[wire.spec.name] = end_us
    for segment, ends in ends_us.items():
        for wire in streams:
            silent_us = max(ends.values()) - ends.get(wire.spec.name, first_us[segment])
            if silent_us > _longest_pause_us(wire):
                where = f" of stretch {segment + 1}" if len(ends_us) > 1 else ""
                yield (
                    f"stream {wire.spec.name!r} was silent for the last "
                    f"{silent_us * 1e-6:.1f} s{where}, while others went on"
                )


def _lost(jumped: int, counts: LinkCounts, *, cut_off: bool) -> Iterator[str]:
    jumped = max(0, jumped - counts.reordered_samples)
    if jumped > counts.lost_samples and not cut_off:
        told = counts.lost_samples
        yield f"sample numbers jump over {jumped} samples, the accounts tell of {told} lost"
        return
    on_line = replace(counts, lost_samples=max(jumped, counts.lost_samples)).lost_on_line_samples
    if on_line:
        yield f"{on_line} samples were lost on the line"


def _dropped(counts: LinkCounts) -> Iterator[str]:
    if counts.reordered_samples:
        yield f"{counts.reordered_samples} samples came out of order, too late, and were dropped"
    if counts.rig_overrun_samples:
        yield f"{counts.rig_overrun_samples} samples were dropped by the rig"
    if counts.dropped_by_host_samples:
        yield f"{counts.dropped_by_host_samples} samples came between segments and were dropped"


def jumped_samples(wire: WireStream) -> int:
    """Return how many samples are missing between the blocks of a stream, inside segments."""
    blocks = wire.blocks
    after = blocks["sample_number"] + blocks["sample_count"].astype(np.int64)
    same = np.diff(blocks["segment"].astype(np.int64)) == 0
    return int((blocks["sample_number"][1:] - after[:-1])[same].clip(min=0).sum())
