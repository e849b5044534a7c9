"""``perpend salvage``: a clean recording out of a broken one."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from ui.cli.arguments import add_json
from ui.cli.exit_codes import DONE, INCOMPLETE


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument("file", type=Path, metavar="FILE", help="broken recording, or a .part file")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="NEW",
        help="the new recording; never overwritten, and FILE is never touched",
    )  # fmt: skip
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Save what can be saved, say what was lost, and return the exit code."""
    from acquisition.recording.reader import read_recording
    from acquisition.recording.salvage import salvage

    saved = salvage(args.file, args.out)
    read_recording(saved.path)
    if args.json:
        plain = {"file": str(saved.path), "kept": dict(saved.samples), "lost": list(saved.lost)}
        print(json.dumps({**plain, "raw_log_bytes": saved.raw_bytes}, indent=2))
    else:
        kept = ", ".join(f"{count} {name} samples" for name, count in saved.samples)
        print(f"kept: {kept}", file=sys.stderr)
        if saved.raw_bytes is not None:
            print(f"kept: {saved.raw_bytes} bytes of the line in its raw log", file=sys.stderr)
        for what in saved.lost:
            print(f"lost: {what}", file=sys.stderr)
        if saved.raw_bytes is not None and saved.lost:
            again = f'perpend record --port "replay:{saved.path}?speed=max&raw=yes" --out NEW'
            print(f"the raw log may hold more; to record its bytes anew: {again}", file=sys.stderr)
        print(saved.path)
    return INCOMPLETE if saved.lost else DONE
