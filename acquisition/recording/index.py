"""Which recordings a folder holds. Worked out from the files each time: they are the truth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from acquisition.errors import DescriptionError, RecordingError
from acquisition.recording import layout
from acquisition.recording.checked import CheckedFile
from acquisition.recording.model import TrialLabel
from acquisition.recording.naming import PART_SUFFIX, SUFFIX
from acquisition.rig import rig_from_json


@dataclass(frozen=True, slots=True)
class Entry:
    """A recording in a folder.

    Attributes:
        path: The file.
        label: Who and what.
        started_utc: ISO 8601.
        rig: Which rig.
        side: ``right`` or ``left``.
        status: As in `acquisition.recording.model.Recording`.
        seconds: Length of its longest stream by its nominal rate, gaps not counted.
        target_json: The target asked for, empty if none.
    """

    path: Path
    label: TrialLabel
    started_utc: str
    rig: str
    side: str
    status: str
    seconds: float
    target_json: str


@dataclass(frozen=True, slots=True)
class Index:
    """All recordings of a folder and the folders in it.

    Attributes:
        entries: By time.
        unreadable: Files called like recordings that are none, with the reason in one line.
    """

    entries: tuple[Entry, ...]
    unreadable: tuple[tuple[Path, str], ...]


def index_of(folder: Path) -> Index:
    """Look into every recording, and part file, below *folder*; links are not followed.

    Raises:
        RecordingError: There is no such folder.
    """
    if not folder.is_dir():
        raise RecordingError(f"{folder}: no such folder")
    entries: list[Entry] = []
    unreadable: list[tuple[Path, str]] = []
    for path in recording_files(folder):
        try:
            entries.append(read_entry(path))
        except RecordingError as error:
            unreadable.append((path, str(error).removeprefix(f"{path}: ")))
    entries.sort(key=lambda entry: (entry.started_utc, entry.path))
    return Index(tuple(entries), tuple(unreadable))


def recording_files(folder: Path) -> Iterator[Path]:
    """Yield files called like recordings or their part files below *folder*, no links."""
    for path in sorted(folder.rglob(f"*{SUFFIX}*")):
        named = path.name.endswith((SUFFIX, SUFFIX + PART_SUFFIX))
        if named and path.is_file() and not path.is_symlink():
            yield path


def read_entry(path: Path) -> Entry:
    """Return what a recording says of itself, without reading its samples.

    Raises:
        RecordingError: It cannot be read.
    """
    with CheckedFile(path) as file:
        try:
            rig = rig_from_json(file.text("rig_json"), where="rig description").rig
        except (DescriptionError, RecursionError) as cause:
            raise RecordingError(f"{path}: {cause}") from cause
        lengths = [
            file.row_count(layout.stream_tables(spec)[0]) / spec.rate_hz
            for spec in file.identity.streams
        ]
        return Entry(
            path=path,
            label=file.label(),
            started_utc=file.text("started_utc"),
            rig=rig.id,
            side=rig.side,
            status=layout.RECORDING if file.cut_off else file.text("status"),
            seconds=max(lengths),
            target_json=file.text("target_json"),
        )


def next_trial(folder: Path, person: str) -> int:
    """Return the number after the highest of a person's trials below *folder*, 1 at first."""
    entries = index_of(folder).entries
    return 1 + max((e.label.trial for e in entries if e.label.person == person), default=0)
