"""Files the commands write: never over another one unless asked to, whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryFile
from typing import TYPE_CHECKING

from ui.cli.arguments import existing_folder
from ui.errors import UserError
from ui.names import new_recording_path

if TYPE_CHECKING:
    from acquisition.recording.model import TrialLabel

REPORT_SUFFIXES = (".html", ".htm")


def new_recording(out: Path, label: TrialLabel) -> tuple[Path, TrialLabel]:
    """Return the file to record to, and what it is labelled.

    It is *out* itself, or, if that is a folder, a new name in its session folder, which is made;
    then a person's trial gets its number there.

    Raises:
        UserError: The folder does not exist.
        RecordingError: The session folder cannot be made, or looked through.
    """
    from acquisition.recording.index import next_trial

    if not out.is_dir():
        existing_folder(out.parent)
        return out, label
    path = new_recording_path(out, label.person)
    if label.person and not label.trial:
        label = replace(label, trial=next_trial(path.parent, label.person))
    return path, label


def report_paths(out: Path | None, recordings: Sequence[Path], *, force: bool) -> dict[Path, Path]:
    """Return where the report of each recording goes: beside it, into a folder, or to one file.

    Args:
        out: File (``.html``) or folder; None is beside each recording.
        recordings: Of what.
        force: Whether reports that exist may be replaced.

    Raises:
        UserError: A report is there already, a folder is not, or two would get the same name.
    """
    if out is None:
        paths = {recording: recording.with_suffix(".html") for recording in recordings}
    elif out.suffix.lower() in REPORT_SUFFIXES and not out.is_dir():
        if len(recordings) > 1:
            raise UserError(f"{out}: is one file for {len(recordings)} reports; name a folder")
        existing_folder(out.parent)
        paths = dict.fromkeys(recordings, out)
    else:
        existing_folder(out)
        paths = {recording: out / f"{recording.stem}.html" for recording in recordings}
    _check_names(paths, force=force)
    return paths


def _check_names(paths: dict[Path, Path], *, force: bool) -> None:
    by_report: dict[Path, Path] = {}
    for recording, report in paths.items():
        if report in by_report:
            raise UserError(
                f"{report}: both {by_report[report]} and {recording} would be written there; "
                "write them one by one"
            )
        if os.path.lexists(report) and not force:
            raise UserError(f"{report}: exists already; name another, or --force to replace it")
        by_report[report] = recording


def new_files(paths: Sequence[Path], *, force: bool) -> None:
    """Make sure that files may be written.

    Args:
        paths: Of a command's results.
        force: Whether files that exist may be replaced.

    Raises:
        UserError: A file is there already, two would get the same name, or a folder is missing or
            takes none.
    """
    for path in paths:
        writable_folder(path.parent)
        if path.is_dir():
            raise UserError(f"{path}: is a folder; name a file")
        if os.path.lexists(path) and not force:
            raise UserError(f"{path}: exists already; name another, or --force to replace it")
    if len(set(paths)) < len(paths):
        raise UserError(f"{paths[0]}: two files would get this name; name another")


def writable_folder(path: Path) -> Path:
    """Return *path* if it is a folder that takes new files; to be asked before the work.

    Raises:
        UserError: It is not.
    """
    try:
        with TemporaryFile(dir=existing_folder(path)):
            return path
    except OSError as cause:
        raise UserError(f"{path}: takes no new file: {cause.strerror}; name another") from cause


def write_whole(path: Path, text: str) -> None:
    """Write a text file by way of a neighbour, so that it is there whole or not at all.

    Raises:
        UserError: It is being written by somebody else, or its folder takes no file.
        OSError: It cannot be written.
    """
    part = path.with_name(path.name + ".part")
    try:
        file = part.open("x", encoding="utf-8")
    except FileExistsError as cause:
        raise UserError(
            f"{part}: is being written, or was left by a program that was killed; remove it"
        ) from cause
    except OSError as cause:
        raise UserError(f"{path}: cannot be written: {cause.strerror}") from cause
    try:
        with file:
            file.write(text)
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
