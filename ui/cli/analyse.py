"""``perpend analyse``: measures of one or many recordings."""

from __future__ import annotations

import argparse
import json

from ui.cli.arguments import add_json, add_recordings, add_target, target_for
from ui.cli.batch import Batch, recordings_in, trial_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    add_target(parser)
    add_json(parser)
    parser.add_argument("--all", action="store_true", help="every measure of every phase")


def run(args: argparse.Namespace) -> int:
    """Measure, print, and return the exit code."""
    files, target = recordings_in(args.files), target_for(args.target)
    batch = Batch("analyse", files, "analysing")
    # Of each trial only what is printed is kept: a thousand of them would not fit otherwise.
    if args.json:
        results = list(batch.done(lambda path: trial_of(path, target).to_dict()))
        plain = results[0] if len(files) == 1 else results
        print(json.dumps(plain, indent=2, allow_nan=False))
    else:
        from ui.cli.tables import print_all, trial_table

        tables = batch.done(lambda path: trial_table(trial_of(path, target), whole=args.all))
        print_all(list(tables))
    return batch.exit_code
