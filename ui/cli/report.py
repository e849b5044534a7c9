"""``perpend report``: writes the HTML report of a recording."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from ui.cli.arguments import add_json, add_recordings, add_target, target_for
from ui.cli.batch import Batch, recordings_in, trial_of
from ui.cli.output import report_paths, write_whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    add_target(parser)
    parser.add_argument(
        "--out", type=Path, metavar="PATH", help="file or folder; else beside the recording"
    )
    parser.add_argument("--force", action="store_true", help="replace reports of the same name")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Write a report for each recording, print their paths, and return the exit code."""
    from ui.report import build_report

    files, target = recordings_in(args.files), target_for(args.target)
    places = report_paths(args.out, files, force=args.force)

    def write(path: Path) -> dict[str, str]:
        write_whole(places[path], build_report(trial_of(path, target)))
        return {"recording": str(path), "report": str(places[path])}

    batch = Batch("report", files, "resolving and drawing")
    written = list(batch.done(write))
    if args.json:
        print(json.dumps(written[0] if len(files) == 1 else written, indent=2))
    else:
        print(*(one["report"] for one in written), sep="\n")
    return batch.exit_code
