"""Deletes a person's recordings, or gives the person another code, completely.

A closed recording is never changed in place: a new code means a new file, checked, and then
the old one goes. What lies beside a recording under the same name (its report, its tables)
holds the code as well and goes with it; it can be made again. The raw log of its bytes cannot, and
tells nothing of a person but by its name: it goes with a deletion, and gets the new name.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.errors import RecordingError
from acquisition.recording import layout
from acquisition.recording.at_once import write_at_once
from acquisition.recording.checked import CheckedFile
from acquisition.recording.clock_rows import clock_rows
from acquisition.recording.index import index_of, recording_files
from acquisition.recording.label import PERSON_CODE
from acquisition.recording.layout import TableSpec
from acquisition.recording.naming import PART_SUFFIX
from acquisition.recording.raw_log import copy_raw_log, find_raw_log, raw_log_path
from acquisition.recording.session_folder import OWNER_ONLY, remove_empty_folders
from acquisition.recording.verify import verify_recording

PIECE_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class Trace:
    """What a folder holds of a person.

    Attributes:
        code: Who.
        folder: Where was looked.
        recordings: Labelled with the code.
        beside: Files of the same name as one of these, such as its report.
        mentions: Recordings of others whose note or events name the code.
        unclear: Files that cannot be read, and others that are called after the code or name it
            (tables, reports of several people, references), with the reason.
    """

    code: str
    folder: Path
    recordings: tuple[Path, ...]
    beside: tuple[Path, ...]
    mentions: tuple[Path, ...]
    unclear: tuple[tuple[Path, str], ...]


def trace_of(code: str, folder: Path) -> Trace:
    """Look for a person below *folder*; links are not followed.

    Raises:
        RecordingError: *code* is none, or there is no such folder.
    """
    _require_code(code)
    index = index_of(folder)
    own = [entry.path for entry in index.entries if entry.label.person == code]
    beside = [path for recording in own for path in _beside(recording)]
    others = [entry.path for entry in index.entries if entry.label.person != code]
    mentions = [path for path in others if _mentions(path, code)]
    known = {*own, *beside, *mentions}
    unclear = [(path, f"cannot be read: {why}") for path, why in index.unreadable]
    holding = {parent for path in known for parent in path.parents}  # goes with what it holds
    for path in sorted(folder.rglob("*")):
        if path in known or path in holding:
            continue
        reason = _reason_to_look(path, code)
        if reason:
            unclear.append((path, reason))
    return Trace(code, folder, tuple(own), tuple(beside), tuple(mentions), tuple(unclear))


def delete(trace: Trace) -> None:
    """Delete the recordings and what lies beside them, and folders that are empty then.

    Raises:
        RecordingError: A file could not be deleted; says which.
    """
    for path in (*trace.beside, *trace.recordings):
        _unlink(path)
        remove_empty_folders(trace.folder, path)


def recode(trace: Trace, new: str, folder: Path) -> tuple[Path, ...]:
    """Give the person another code; notes and events that name the old one, too.

    Args:
        trace: What `trace_of` gave.
        new: A code that nobody has below *folder*.
        folder: Where.

    Returns:
        The new files.

    Raises:
        RecordingError: *new* is none or is taken, or a recording is not closed and in order;
            then nothing was changed.
    """
    _require_code(new)
    if any(entry.label.person == new for entry in index_of(folder).entries):
        raise RecordingError(f"{new} is somebody's code already in {folder}; choose a free one")
    sources = (*trace.recordings, *trace.mentions)
    for path in sources:
        faults = verify_recording(path).faults
        if path.name.endswith(PART_SUFFIX) or faults:
            why = faults[0] if faults else "was never closed"
            raise RecordingError(f"{path}: {why}; `perpend salvage` it first, nothing was changed")
    written: list[Path] = []
    try:
        written.extend(_recoded(path, folder, trace.code, new) for path in sources)
    except BaseException:
        for path in written:
            for one in (path, raw_log_path(path)):
                one.unlink(missing_ok=True)  # ours; the old ones are all there
            remove_empty_folders(folder, path)
        raise
    beside = (*trace.beside, *(other for path in trace.mentions for other in _beside(path)))
    delete(dataclasses.replace(trace, recordings=sources, beside=beside))
    return tuple(written)


def _recoded(path: Path, folder: Path, old: str, new: str) -> Path:
    """Write a copy under the new code, in a folder of the new code if the old one has its own."""
    word = _word(old)
    with CheckedFile(path) as file:
        attributes = dict(file.attributes)
        for name in ("person", "note"):
            attributes[name] = word.sub(new, file.text(name)).encode()
        streams = file.identity.streams
        tables: dict[TableSpec, NDArray[Any]] = {
            table: file.rows(table) for table in layout.all_tables(streams)
        }
    tables[layout.CLOCK] = clock_rows(tables[layout.SYNC])
    tables[layout.EVENTS] = _renamed(tables[layout.EVENTS], word, new)
    out = folder.joinpath(*(word.sub(new, part) for part in path.relative_to(folder).parts))
    if out == path:
        added = new if attributes["person"] == new.encode() else "recoded"
        out = path.with_name(f"{path.stem}_{added}{path.suffix}")
    out.parent.mkdir(mode=OWNER_ONLY, parents=True, exist_ok=True)
    write_at_once(out, attributes, tables, streams)
    log = find_raw_log(path)
    if log is not None:
        copy_raw_log(log, out)
    faults = verify_recording(out).faults
    if faults:
        for one in (out, raw_log_path(out)):
            one.unlink(missing_ok=True)
        raise RecordingError(f"{out}: did not come out right ({faults[0]}); nothing was changed")
    return out


def _renamed(events: NDArray[Any], word: re.Pattern[str], new: str) -> NDArray[Any]:
    events = events.copy()
    events["text"] = np.array(
        [word.sub(new, text.decode("utf-8", "replace")).encode() for text in events["text"]],
        dtype=layout.EVENT_DTYPE["text"],
    )
    return events


def _mentions(path: Path, code: str) -> bool:
    with CheckedFile(path) as file:
        texts = [file.text("note")]
        texts += [text.decode("utf-8", "replace") for text in file.rows(layout.EVENTS)["text"]]
    return any(map(_word(code).search, texts))


def _reason_to_look(path: Path, code: str) -> str:
    """Return why a file that is none of the known ones may be a person's; empty if it is not."""
    if _word(code).search(path.name):
        return "is called after the code"
    if not path.is_file() or path.is_symlink() or path.suffix in (".raw", ".h5", PART_SUFFIX):
        return ""  # recordings were looked into, and bytes of the line hold no codes
    try:
        return "names the code" if _holds(path, code) else ""
    except OSError as cause:
        return f"cannot be read ({cause.strerror})"


def _holds(path: Path, code: str) -> bool:
    word, tail = re.compile(_word(code).pattern.encode()), b""
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            if word.search(tail + piece):
                return True
            tail = piece[-len(code) - 1 :]
    return False


def _beside(recording: Path) -> Iterator[Path]:
    stem = recording.name.removesuffix(PART_SUFFIX).rpartition(".")[0]
    recordings = set(recording_files(recording.parent))
    for path in sorted(recording.parent.iterdir()):
        if path.name.startswith(f"{stem}.") and path not in recordings and not path.is_dir():
            yield path


def _word(code: str) -> re.Pattern[str]:
    """Match the code where it stands alone: T07 in ``x_T07.h5``, not in ``T071`` or ``AT07``."""
    return re.compile(rf"(?<![A-Za-z0-9]){code}(?![A-Za-z0-9])")


def _require_code(code: str) -> None:
    if not PERSON_CODE.fullmatch(code):
        raise RecordingError(f"{code!r} is no code; use a letter and 2 to 4 digits, such as T07")


def _unlink(path: Path) -> None:
    try:
        path.unlink()
    except OSError as cause:
        raise RecordingError(f"{path}: could not be deleted ({cause.strerror})") from cause
