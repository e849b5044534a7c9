"""``perpend report``: writes the HTML report of a recording."""

from __future__ import annotations

import argparse
from pathlib import Path

from ui.cli.arguments import add_target, new_file, recordings_in, target_for, write_whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="recordings or folders")
    add_target(parser)
    parser.add_argument(
        "--out", type=Path, metavar="PATH", help="file or folder; else beside the recording"
    )
    parser.add_argument("--force", action="store_true", help="replace a report of the same name")


def run(args: argparse.Namespace) -> int:
    """Write a report for each recording, print their paths, and return the exit code."""
    from ui.cli.analyse import trials_of
    from ui.cli.main import DONE, INCOMPLETE
    from ui.cli.progress import working
    from ui.report import build_report

    files, target = recordings_in(args.files), target_for(args.target)
    bad = 0
    for path in files:
        trials, failed = trials_of([path], target, alone=len(files) == 1)
        bad += failed
        for trial in trials:
            out = new_file(_place(args.out, path), force=args.force)
            with working("drawing"):
                text = build_report(trial)
            write_whole(out, text)
            print(out)
    return INCOMPLETE if bad else DONE


def _place(out: Path | None, recording: Path) -> Path:
    if out is None:
        return recording.with_suffix(".html")
    return out / f"{recording.stem}.html" if out.is_dir() else out
