"""Arguments that several verbs share, and what they stand for."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ui.errors import UserError

if TYPE_CHECKING:
    from acquisition.recording.model import TrialLabel
    from acquisition.rig import RigDescription
    from acquisition.transports.held import HeldPort
    from analysis.target import Target

PORT_HELP = (
    "where the rig is: serial:/dev/ttyACM0?baud=921600, tcp://127.0.0.1:7788, "
    '"virtual:?trainee=T01&seed=7&side=left" or replay:FILE'
)


MOST_SEED = 2**32 - 1
"""Of the smallest range that any of our generators takes."""


def whole_number(least: int, most: int | None = None) -> Callable[[str], int]:
    """Return what makes a whole number of an argument, or says in words which it takes.

    Args:
        least: The smallest it may be.
        most: The greatest; None for no end.
    """
    asked = f"a whole number from {least}" + (" up" if most is None else f" to {most}")

    def number(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            value = least - 1
        if value < least or (most is not None and value > most):
            raise argparse.ArgumentTypeError(f"{text!r} is not {asked}")
        return value

    return number


def add_seed(
    parser: argparse.ArgumentParser | argparse._ArgumentGroup, text: str, default: int = 0
) -> None:
    """Add ``--seed``, of which *text* says what it is for."""
    seed = whole_number(0, MOST_SEED)
    parser.add_argument("--seed", type=seed, default=default, metavar="N", help=text)


def add_recordings(parser: argparse.ArgumentParser) -> None:
    """Add the recordings to read."""
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="recordings or folders")


def add_port(parser: argparse.ArgumentParser, *, required: bool = True, without: str = "") -> None:
    """Add ``--port`` and ``--rig``.

    Args:
        parser: To this.
        required: Refuse to go on without a port.
        without: What happens without one.
    """
    group = parser.add_argument_group("the rig")
    group.add_argument("--port", required=required, metavar="URL", help=PORT_HELP + without)
    group.add_argument(
        "--rig",
        metavar="TOML",
        type=Path,
        help="rig description; else the one that the rig keeps, or that of the recording",
    )


def add_virtual(parser: argparse.ArgumentParser, *, trainee: str, seed: int) -> None:
    """Add who is at the virtual rig, with these defaults, and what rig it is."""
    group = parser.add_argument_group("the virtual rig")
    group.add_argument("--trainee", default=trainee, metavar="CODE", help="who is at it")
    add_seed(group, "another, another trial", seed)
    group.add_argument("--side", choices=("right", "left"), default="right")
    group.add_argument("--axes", choices=("3", "6"), default="3", help="of the load cell")
    group.add_argument(
        "--stabiliser", action="store_true", help="a second cell, under the stabilising hand"
    )


def add_target(parser: argparse.ArgumentParser) -> None:
    """Add ``--target``."""
    parser.add_argument(
        "--target",
        metavar="TOML",
        type=Path,
        help="target to measure against; else the recording's own, or the default",
    )


def add_label(parser: argparse.ArgumentParser) -> None:
    """Add who and what a recording is."""
    group = parser.add_argument_group("kept with the recording")
    group.add_argument("--person", default="", metavar="CODE", help="code, such as T07 or E02")
    group.add_argument(
        "--condition", default="", metavar="WORD", help="with_feedback, without_feedback, retention"
    )
    group.add_argument("--note", default="", metavar="TEXT", help="free text; no names")
    group.add_argument(
        "--trial", type=int, default=0, metavar="N",
        help="number of the trial; else, if --out is a folder, the person's next one of the day",
    )  # fmt: skip


def add_language(parser: argparse.ArgumentParser) -> None:
    """Add ``--language``."""
    parser.add_argument(
        "--language", metavar="XX", help="of the window, such as de; else that of the system"
    )


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``."""
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def rig_for(port: str, rig: Path | None) -> RigDescription:
    """Return the rig description that goes with a port, which is closed again.

    Raises:
        UserError, AcquisitionError: As `rig_on`.
    """
    from acquisition.transports import transport_for
    from acquisition.transports.held import HeldPort

    with HeldPort(transport_for(port)) as line:
        return rig_on(line, port, rig)


def rig_on(line: HeldPort, port: str, rig: Path | None) -> RigDescription:
    """Return the rig description that goes with a port.

    A real rig is asked for the one that it keeps, unless a file is named; then the line is left
    open for who uses it next.

    Args:
        line: The port.
        port: Its URL.
        rig: File of the description, None if none is named.

    Raises:
        UserError: A real rig keeps none, and no file is named.
        AcquisitionError: The description, the URL, the recording or the rig is wrong.
    """
    from acquisition.recording.reader import read_recording
    from acquisition.rig import load_rig
    from acquisition.transports.url import parse_url
    from acquisition.transports.virtual import VirtualPort

    if rig is not None:
        return load_rig(rig)
    if isinstance(line.transport, VirtualPort):
        return line.transport.virtual_rig.rig
    url = parse_url(port)
    return read_recording(url.address).rig if url.scheme == "replay" else _kept_on(line)


def _kept_on(line: HeldPort) -> RigDescription:
    """Ask a rig for the description that it keeps."""
    from acquisition.clock import SystemClock
    from acquisition.console import RigConsole
    from acquisition.rig_store import fetch_description

    line.leave_open()
    with RigConsole(line, clock=SystemClock()) as console:
        kept = fetch_description(console)
    if kept is None:
        raise UserError(
            f"{line.name}: the rig keeps no description: give --rig RIG.toml, or put it on "
            f"the rig with perpend rig --port {line.name} --save-description RIG.toml "
            "(acquisition/virtual_rig/rig_right.toml is a template)"
        )
    return kept


def target_for(path: Path | None) -> Target | None:
    """Return the target of a file, None if none was named.

    Raises:
        TargetError: The file is missing or broken.
    """
    from analysis.target import load_target

    return None if path is None else load_target(path)


def label_for(args: argparse.Namespace) -> TrialLabel:
    """Return the label that the arguments describe.

    Raises:
        RecordingError: The person is no code, or another part may not stand in a file.
    """
    from acquisition.recording.label import check_label
    from acquisition.recording.model import TrialLabel

    return check_label(TrialLabel(args.person, args.condition, args.note, args.trial))


def existing_folder(path: Path) -> Path:
    """Return *path* if it is a folder.

    Raises:
        UserError: It is not.
    """
    if not path.is_dir():
        raise UserError(f"{path}: no such folder; make it first")
    return path
