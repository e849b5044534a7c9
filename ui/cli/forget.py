"""``perpend forget``: deletes a person's recordings, or gives the person another code."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.exit_codes import DONE, INCOMPLETE
from ui.errors import UserError

if TYPE_CHECKING:
    from acquisition.recording.forget import Trace


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.epilog = (
        "Copies elsewhere (backups, exports, mail) are not reached; on most disks deleted bytes "
        "stay until they are written over."
    )
    parser.add_argument("code", metavar="CODE", help="whose: a code, such as T07")
    parser.add_argument("folder", type=Path, metavar="DIR", help="where to look, with all below")
    parser.add_argument(
        "--recode", metavar="NEW", help="do not delete, give another code that nobody has"
    )
    parser.add_argument("--yes", action="store_true", help="do it without asking")


def run(args: argparse.Namespace) -> int:
    """List what there is of a person, ask, do it, look again, and return the exit code."""
    from acquisition.recording.forget import delete, recode, trace_of

    trace = trace_of(args.code, args.folder)
    _tell(trace)
    if not trace.recordings and not trace.mentions:
        raise UserError(f"{args.folder}: holds no recording of {args.code}")
    _ask(args)
    if args.recode:
        for path in recode(trace, args.recode, args.folder):
            print(f"now: {path}")
    else:
        delete(trace)
    rest = trace_of(args.code, args.folder)
    if rest.recordings or rest.mentions or rest.unclear:
        print(f"not complete; still there for {args.code}:", file=sys.stderr)
        _tell(rest)
        return INCOMPLETE
    print(f"nothing of {args.code} is left in {args.folder}", file=sys.stderr)
    return DONE


def _tell(trace: Trace) -> None:
    for path in trace.recordings:
        print(f"recording: {path}")
    for path in trace.beside:
        print(f"beside it: {path}")
    for path in trace.mentions:
        print(f"names {trace.code} in a note or event: {path}")
    for path, why in trace.unclear:
        print(f"look yourself: {path} {why}")


def _ask(args: argparse.Namespace) -> None:
    if args.yes:
        return
    what = f"become {args.recode}'s" if args.recode else "be deleted for good"
    if not sys.stdin.isatty():
        raise UserError(f"nothing was changed; with --yes these would {what}")
    if input(f"These will {what}. Type {args.code} to go on: ").strip() != args.code:
        raise UserError("nothing was changed")
