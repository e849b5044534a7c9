"""``perpend record``: records a trial from a port into a file."""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import (
    add_json,
    add_label,
    add_port,
    add_target,
    label_for,
    rig_for,
    target_for,
)
from ui.errors import UserError
from ui.names import new_recording_path

if TYPE_CHECKING:
    from acquisition.record import RecordOutcome


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_port(parser)
    add_target(parser)
    add_label(parser)
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="PATH",
        help="file, or folder in which a name is made of time and code; never overwritten",
    )  # fmt: skip
    parser.add_argument(
        "--seconds", type=float, help="stop by itself; else Ctrl-C, or the end of the source"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Record, re-read what was written, and return the exit code."""
    from acquisition.record import record_trial
    from acquisition.recording.reader import read_recording
    from ui.cli.main import DONE, INCOMPLETE

    if args.seconds is not None and not 0 < args.seconds < math.inf:
        raise UserError(f"--seconds {args.seconds:g}: must be more than 0")
    rig, target, label = rig_for(args.port, args.rig), target_for(args.target), label_for(args)
    path = file_for(args.out, args.person)
    with progress_line(args.seconds) as progress:
        outcome = record_trial(
            args.port,
            path,
            rig=rig,
            target_json=target.to_json() if target else "",
            label=label,
            seconds=args.seconds,
            progress=progress,
        )
    read_recording(outcome.path)
    print(f"saved and checked: {said(outcome)}", file=sys.stderr)
    print(json.dumps(_plain(outcome), indent=2) if args.json else outcome.path)
    return DONE if outcome.whole else INCOMPLETE


def file_for(out: Path, person: str) -> Path:
    """Return the file to write: *out* itself, or a new name in it if it is a folder.

    Raises:
        UserError: The folder does not exist.
    """
    if out.is_dir():
        return new_recording_path(out, person)
    if not out.parent.is_dir():
        raise UserError(f"{out.parent}: no such folder; make it first")
    return out


@contextmanager
def progress_line(seconds: float | None) -> Iterator[Callable[[float], None]]:
    """Show how long is recorded already, if somebody looks; gives what to call with seconds."""
    from rich.progress import BarColumn, Progress, TextColumn

    from ui.cli.progress import talk

    console = talk()
    if not console.is_terminal:
        yield lambda _: None
        return
    columns = (TextColumn("recording"), BarColumn(), TextColumn("{task.completed:.1f} s"))
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("recording", total=seconds)
        yield lambda done: progress.update(task, completed=done)


def said(outcome: RecordOutcome) -> str:
    """Return in words how a recording went."""
    counts = outcome.counts
    lost = counts.lost_samples + counts.rig_overrun_samples + counts.dropped_by_host_samples
    parts = [f"{outcome.seconds:.1f} s", f"{lost} samples lost" if lost else "nothing lost"]
    if counts.bad_frames:
        parts.append(f"{counts.bad_frames} damaged frames thrown away")
    if outcome.status != "complete":
        parts.append(outcome.status)
    return ", ".join(parts)


def _plain(outcome: RecordOutcome) -> dict[str, object]:
    return {
        "file": str(outcome.path),
        "status": outcome.status,
        "seconds": round(outcome.seconds, 3),
        "link": {name: getattr(outcome.counts, name) for name in outcome.counts.__slots__},
    }
