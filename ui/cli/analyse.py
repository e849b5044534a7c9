"""``perpend analyse``: measures of one or many recordings."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from ui.cli.arguments import add_json, add_recordings, add_target, target_for
from ui.cli.batch import Batch, recordings_in, trial_of
from ui.errors import UserError

if TYPE_CHECKING:
    from analysis.trial import Trial


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    add_target(parser)
    add_json(parser)
    parser.add_argument("--all", action="store_true", help="every measure of every phase")
    parser.add_argument(
        "--profile", action="store_true", help="with --json: each repetition along the arc too"
    )


def run(args: argparse.Namespace) -> int:
    """Measure, print, and return the exit code."""
    if args.profile and not args.json:
        raise UserError("--profile goes with --json; the report shows it as a figure")
    files, target = recordings_in(args.files), target_for(args.target)
    batch = Batch("analyse", files, "analysing")
    # Of each trial only what is printed is kept: a thousand of them would not fit otherwise.
    if args.json:
        results = list(batch.done(lambda path: _plain(trial_of(path, target), args.profile)))
        plain = results[0] if len(files) == 1 else results
        print(json.dumps(plain, indent=2, allow_nan=False))
    else:
        from ui.cli.tables import print_all, trial_table

        tables = batch.done(lambda path: trial_table(trial_of(path, target), whole=args.all))
        print_all(list(tables))
    return batch.exit_code


def _plain(trial: Trial, with_profile: bool) -> dict[str, Any]:
    plain = trial.to_dict()
    if with_profile:
        from analysis.profile import profiles_of

        for repetition, profile in zip(plain["repetitions"], profiles_of(trial), strict=True):
            repetition["profile"] = profile.to_dict()
    return plain
