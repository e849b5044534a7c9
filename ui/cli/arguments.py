"""Arguments that several verbs share, and what they stand for."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from ui.errors import UserError

if TYPE_CHECKING:
    from acquisition.recording.model import TrialLabel
    from acquisition.rig import RigDescription
    from analysis.target import Target

PORT_HELP = (
    "where the rig is: serial:/dev/ttyACM0?baud=921600, tcp://127.0.0.1:7788, "
    '"virtual:?trainee=T01&seed=7&side=left" or replay:FILE'
)


def add_port(parser: argparse.ArgumentParser) -> None:
    """Add ``--port`` and ``--rig``."""
    parser.add_argument("--port", required=True, metavar="URL", help=PORT_HELP)
    parser.add_argument(
        "--rig",
        metavar="TOML",
        type=Path,
        help="rig description; needed for a real port, the virtual rig and a recording have theirs",
    )


def add_target(parser: argparse.ArgumentParser) -> None:
    """Add ``--target``."""
    parser.add_argument(
        "--target", metavar="TOML", type=Path, help="target to measure against, else the default"
    )


def add_label(parser: argparse.ArgumentParser) -> None:
    """Add who and what a recording is."""
    parser.add_argument("--person", default="", metavar="CODE", help="code, such as T07 or E02")
    parser.add_argument(
        "--condition", default="", metavar="WORD", help="with_feedback, without_feedback, retention"
    )
    parser.add_argument("--note", default="", metavar="TEXT", help="free text; no names")


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``."""
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")


def rig_for(port: str, rig: Path | None) -> RigDescription:
    """Return the rig description that goes with a port.

    Raises:
        UserError: A real port without ``--rig``.
        AcquisitionError: The description, the URL or the recording is wrong.
    """
    from acquisition.recording.reader import read_recording
    from acquisition.rig import load_rig
    from acquisition.transports import transport_for
    from acquisition.transports.replay import ReplayPort
    from acquisition.transports.url import parse_url
    from acquisition.transports.virtual import VirtualPort

    if rig is not None:
        return load_rig(rig)
    transport = transport_for(port)
    if isinstance(transport, VirtualPort):
        return transport.virtual_rig.rig
    if isinstance(transport, ReplayPort):
        return read_recording(parse_url(port).address).rig
    raise UserError(
        f"{port}: a real rig needs its description: give --rig RIG.toml "
        "(acquisition/virtual_rig/rig_right.toml is a template)"
    )


def target_for(path: Path | None) -> Target | None:
    """Return the target of a file, None if none was named."""
    from analysis.target import load_target

    return None if path is None else load_target(path)


def label_for(args: argparse.Namespace) -> TrialLabel:
    """Return the label that the arguments describe, checked."""
    from acquisition.recording.label import check_label
    from acquisition.recording.model import TrialLabel

    return check_label(TrialLabel(args.person, args.condition, args.note))


def new_file(path: Path, *, force: bool) -> Path:
    """Return *path* if it may be written.

    Raises:
        UserError: Something stands there already, or its folder does not exist.
    """
    if path.exists() and not force:
        raise UserError(f"{path}: exists already; name another file, or --force to replace it")
    if not path.parent.is_dir():
        raise UserError(f"{path.parent}: no such folder; make it first")
    return path


def write_whole(path: Path, text: str) -> None:
    """Write a text file so that it is there whole or not at all."""
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    part.replace(path)


def recordings_in(paths: Iterable[Path]) -> list[Path]:
    """Return the files named, and the recordings inside the folders named.

    Raises:
        UserError: A folder holds no recording.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(path.rglob("*.h5"))
            if not inside:
                raise UserError(f"{path}: holds no recording (*.h5)")
            found += inside
        else:
            found.append(path)
    return found
