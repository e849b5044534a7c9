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
    rig_on,
    target_for,
)
from ui.cli.exit_codes import DONE, INCOMPLETE, INTERRUPTED
from ui.cli.output import new_recording
from ui.cli.stream import add_lsl, stream_for
from ui.errors import UserError

if TYPE_CHECKING:
    from acquisition.record import RecordOutcome, RecordProgress


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_port(parser)
    add_target(parser)
    add_label(parser)
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="PATH",
        help="file, or folder; in a folder it gets a name of its own, below CODE/DAY; never "
        "overwritten",
    )  # fmt: skip
    parser.add_argument(
        "--seconds", type=float, help="stop by itself; else Ctrl-C, or the end of the source"
    )
    parser.add_argument(
        "--raw-log", action="store_true",
        help="keep the very bytes of the line too, beside the file as .raw; replay: plays them",
    )  # fmt: skip
    add_lsl(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Record, re-read what was written, and return the exit code."""
    from acquisition.record import record_trial
    from acquisition.recording.reader import read_recording
    from acquisition.recording.session_folder import remove_empty_folders
    from acquisition.transports import transport_for
    from acquisition.transports.held import HeldPort
    from analysis.target import Target

    if args.seconds is not None and not 0 < args.seconds < math.inf:
        raise UserError(f"--seconds {args.seconds:g}: must be more than 0")
    target = target_for(args.target) or Target()
    with HeldPort(transport_for(args.port)) as line:
        rig = rig_on(line, args.port, args.rig)
        also = stream_for(args, rig, target)
        path, label = new_recording(args.out, label_for(args))
        try:
            with progress_line(args.seconds) as progress:
                outcome = record_trial(
                    line,
                    path,
                    rig=rig,
                    target_json=target.to_json(),
                    label=label,
                    seconds=args.seconds,
                    raw_log=args.raw_log,
                    also=also,
                    progress=progress,
                )
        finally:
            remove_empty_folders(args.out, path)  # one that was made for nothing
    read_recording(outcome.path)
    print(f"saved and checked: {said(outcome)}", file=sys.stderr)
    print(json.dumps(_plain(outcome), indent=2) if args.json else outcome.path)
    return _exit_code(outcome, limited=args.seconds is not None)


@contextmanager
def progress_line(seconds: float | None) -> Iterator[Callable[[RecordProgress], None]]:
    """Show how much is recorded already and how much was lost; gives what is to be told it.

    Args:
        seconds: When it will stop by itself, None if it will not.
    """
    from rich.progress import BarColumn, TextColumn

    from acquisition.recording.disk import WARN_MINUTES
    from ui.cli.progress import shown

    with shown(TextColumn("recording"), BarColumn(20), TextColumn("{task.description}")) as line:
        task = None if line is None else line.add_task(_so_far(0.0, 0, 0), total=seconds)

        warned: list[float] = []
        said = [""]

        def tell(now: RecordProgress) -> None:
            little = f"  disk: {now.minutes_left:.0f} min left" * (now.minutes_left < WARN_MINUTES)
            if line is not None and task is not None:
                text = now.trouble or _so_far(now.seconds, now.samples, now.lost_samples) + little
                line.update(task, completed=now.seconds, description=text)
            elif little and not warned:
                warned.append(now.minutes_left)
                print(f"mind the{little}", file=sys.stderr)
            if line is None and now.trouble != said[0]:
                print(now.trouble or "the line is back", file=sys.stderr, flush=True)
                said[0] = now.trouble

        yield tell


def said(outcome: RecordOutcome) -> str:
    """Return in words how a recording went."""
    lost = outcome.lost_samples
    parts = [f"{outcome.seconds:.1f} s"]
    if outcome.breaks:
        parts.append(f"the line was away {_times(outcome.breaks)}")
    parts += outcome.silent
    nothing = "nothing else lost" if outcome.breaks or outcome.silent else "nothing lost"
    late = outcome.counts.reordered_samples
    of_them = f", {late} of them as they came out of order" if late else ""
    parts.append(f"{lost} samples lost{of_them}" if lost else nothing)
    if outcome.counts.bad_frames:
        parts.append(f"{outcome.counts.bad_frames} damaged frames thrown away")
    if outcome.status != "complete":
        parts.append(outcome.status)
    return ", ".join(parts)


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _so_far(seconds: float, samples: int, lost: int) -> str:
    return f"{seconds:6.1f} s  {samples} samples  {lost} lost"


def _exit_code(outcome: RecordOutcome, *, limited: bool) -> int:
    """Return the exit code; Ctrl-C is the ordinary end of a recording without a limit."""
    if outcome.interrupted and limited:
        return INTERRUPTED
    return DONE if outcome.whole else INCOMPLETE


def _plain(outcome: RecordOutcome) -> dict[str, object]:
    return {
        "file": str(outcome.path),
        "status": outcome.status,
        "seconds": round(outcome.seconds, 3),
        "whole": outcome.whole,
        "breaks": outcome.breaks,
        "silent": list(outcome.silent),
        "link": {name: getattr(outcome.counts, name) for name in outcome.counts.__slots__},
    }
