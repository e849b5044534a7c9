"""Where recordings lie: a folder for each person and day below the one that was named.

``DIR/T07/2026-03-31/20260331T091500Z_T07_1a2b3c4d.h5``. The day is that of UTC, as in the name.
Recordings of nobody in particular lie in ``DIR`` itself. What a folder is called proves nothing:
the files are the truth.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

from acquisition.errors import RecordingError
from acquisition.recording.label import check_label
from acquisition.recording.model import TrialLabel

OWNER_ONLY = 0o700


def session_folder(root: Path, person: str, day: date) -> Path:
    """Return where a person's recordings of a day lie below *root*.

    Raises:
        RecordingError: *person* is no code, so that it never becomes a path of its own.
    """
    check_label(TrialLabel(person))
    return root / person / day.isoformat() if person else root


def make_session_folder(root: Path, person: str, day: date) -> Path:
    """Return `session_folder`, made for its owner only if it is not there; *root* must be.

    Raises:
        RecordingError: *person* is no code, or the folder cannot be made.
    """
    folder = session_folder(root, person, day)
    if not root.is_dir():
        raise RecordingError(f"{root}: no such folder; make it first")
    for one in (folder.parent, folder) if person else ():
        if one.is_symlink():
            raise RecordingError(f"{one}: is a link to somewhere else; take it away")
        try:
            one.mkdir(mode=OWNER_ONLY, exist_ok=True)
        except OSError as cause:
            raise RecordingError(f"{one}: cannot be made ({cause.strerror})") from cause
    return folder


def remove_empty_folders(root: Path, path: Path) -> None:
    """Remove the folders between *root* and *path* that hold nothing any more."""
    for folder in path.parents:
        if root not in folder.parents:
            return
        try:
            folder.rmdir()
        except OSError:  # something is in it
            return
