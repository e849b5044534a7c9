"""File names of recordings: ``<name>.part`` while being written; nothing is ever replaced."""

from __future__ import annotations

import os
from pathlib import Path

from acquisition.errors import RecordingError

SUFFIX, PART_SUFFIX = ".h5", ".part"
OWNER_ONLY = 0o600


def part_path(path: Path) -> Path:
    """Return what the file that will be *path* is called while it is being written."""
    return path.with_name(path.name + PART_SUFFIX)


def refuse_taken(path: Path, *, also_part: bool = True, suffix: str = SUFFIX) -> None:
    """Check that a recording can get the name *path*.

    Args:
        path: The name.
        also_part: Whether the name of its part file is needed, too.
        suffix: What it must end in: by that a recording is found again.

    Raises:
        RecordingError: It, or its part file, is there already, or its folder is not; or it would
            not be found as a recording.
    """
    if path.suffix != suffix:
        raise RecordingError(
            f"{path}: is no folder, and its name does not end in {suffix}; make the folder first, "
            f"or name the file {path.name}{suffix}"
        )
    if not path.parent.is_dir():
        raise RecordingError(f"{path}: the folder {path.parent} does not exist; make it first")
    if os.path.lexists(path):
        raise RecordingError(f"{path}: exists already; choose another name")
    part = part_path(path)
    if also_part and os.path.lexists(part):
        raise RecordingError(
            f"{part}: is being recorded, or was left by a recorder that was killed; "
            "choose another name, `perpend salvage` saves what it holds"
        )


def create_private(part: Path) -> None:
    """Make the empty file *part*, readable by its owner only.

    Raises:
        RecordingError: It is there already, or the folder does not take it.
    """
    try:
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, OWNER_ONLY))
    except OSError as cause:
        raise RecordingError(f"{part}: cannot be made ({cause.strerror})") from cause


def give_final_name(part: Path, path: Path) -> None:
    """Rename *part* to *path* once it is on the disk.

    Raises:
        RecordingError: The name was taken meanwhile, or the folder is gone; *part* stays.
    """
    try:
        _onto_disk(part)
        _rename_without_replacing(part, path)
    except FileExistsError as cause:
        raise RecordingError(
            f"{path}: somebody took this name meanwhile; the recording is whole in {part}"
        ) from cause
    except OSError as cause:
        if not path.parent.is_dir():
            raise RecordingError(
                f"{path.parent}: is gone; if it was moved, look there for {part.name}"
            ) from cause
        raise RecordingError(
            f"{path}: cannot get its final name ({cause.strerror}); look for {part}"
        ) from cause


def _rename_without_replacing(part: Path, path: Path) -> None:
    try:
        os.link(part, path, follow_symlinks=False)  # fails if the name is taken; rename does not
    except FileExistsError:
        raise
    except (OSError, NotImplementedError):  # a disk without hard links
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        part.rename(path)
    else:
        part.unlink()


def _onto_disk(part: Path) -> None:
    descriptor = os.open(part, os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
