"""``perpend analyse``: measures of one or many recordings."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import add_json, add_target, recordings_in, target_for

if TYPE_CHECKING:
    from analysis.target import Target
    from analysis.trial import Trial


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="recordings or folders")
    add_target(parser)
    add_json(parser)
    parser.add_argument("--all", action="store_true", help="every measure of every phase")


def run(args: argparse.Namespace) -> int:
    """Measure, print, and return the exit code."""
    from ui.cli.main import DONE, INCOMPLETE

    files = recordings_in(args.files)
    trials, bad = trials_of(files, target_for(args.target), alone=len(files) == 1)
    if args.json:
        results = [trial.to_dict() for trial in trials]
        print(json.dumps(results[0] if len(files) == 1 else results, indent=2, allow_nan=False))
    else:
        from ui.cli.tables import print_trial

        for trial in trials:
            print_trial(trial, every_measure=args.all)
    return INCOMPLETE if bad else DONE


def trials_of(files: list[Path], target: Target | None, *, alone: bool) -> tuple[list[Trial], int]:
    """Return the trials of recordings, and how many files were bad (told on stderr).

    A bad file that was asked for *alone* raises instead: there is nothing to go on with.
    """
    from acquisition.errors import AcquisitionError
    from acquisition.recording.reader import read_recording
    from analysis.errors import AnalysisError
    from analysis.pipeline import analyse
    from ui.cli.progress import tracked

    trials, bad = [], 0
    for path in tracked(files, "analysing"):
        try:
            trials.append(analyse(read_recording(path), target))
        except (AcquisitionError, AnalysisError) as error:
            if alone:
                raise
            bad += 1
            print(f"perpend analyse: skipped: {with_place(error, path)}", file=sys.stderr)
    return trials, bad


def with_place(error: Exception, path: Path) -> str:
    """Return the error's text, the file named if it is not."""
    text = str(error)
    return text if path.name in text else f"{path}: {text}"
