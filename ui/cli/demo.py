"""``perpend demo``: the main job on the virtual rig, from the wire to the report."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import add_json, add_virtual, rig_for
from ui.cli.exit_codes import DONE, INCOMPLETE
from ui.cli.output import new_recording, write_whole
from ui.cli.record import progress_line, said

if TYPE_CHECKING:
    from acquisition.record import RecordOutcome

REPETITIONS = 3


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_virtual(parser, trainee="T01", seed=7)
    parser.add_argument(
        "--out", type=Path, default=Path("out"), metavar="DIR", help="folder, made if need be"
    )
    parser.add_argument("--live", action="store_true", help="open the window instead")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Record three repetitions, print the table, write the report, return the exit code."""
    rig = f"virtual:?trainee={args.trainee}&seed={args.seed}&side={args.side}&axes={args.axes}"
    rig += "&stabiliser=1" if args.stabiliser else ""
    if args.live:
        from ui.cli.live import open_window

        port = f"{rig}&reps=0"
        return open_window(port, rig=rig_for(port, None), out_dir=_folder(args.out))
    port = f"{rig}&reps={REPETITIONS}&speed=max"
    outcome = _recorded(port, args)
    _measured_and_shown(outcome, as_json=args.json)
    return DONE if outcome.whole else INCOMPLETE


def _folder(path: Path) -> Path:
    path.mkdir(parents=True, exist_ok=True)
    return path


def _recorded(port: str, args: argparse.Namespace) -> RecordOutcome:
    from acquisition.record import record_trial
    from acquisition.recording.model import TrialLabel
    from analysis.target import Target

    rig, label = rig_for(port, None), TrialLabel(person=args.trainee, note="virtual rig")
    path, label = new_recording(_folder(args.out), label)
    with progress_line(None) as progress:
        outcome = record_trial(
            port,
            path,
            rig=rig,
            target_json=Target().to_json(),
            label=label,
            progress=progress,
        )
    print(f"recorded {said(outcome)}", file=sys.stderr)
    return outcome


def _measured_and_shown(outcome: RecordOutcome, *, as_json: bool) -> None:
    from ui.cli.batch import trial_of
    from ui.cli.progress import working
    from ui.cli.tables import print_all, trial_table
    from ui.report import build_report

    report = outcome.path.with_suffix(".html")
    with working("resolving and drawing"):
        trial = trial_of(outcome.path, None)
        write_whole(report, build_report(trial))
    if as_json:
        files = {"recording": str(outcome.path), "report": str(report)}
        print(json.dumps({**files, "trial": trial.to_dict()}, indent=2, allow_nan=False))
        return
    print_all([trial_table(trial)])
    print(f"recording  {outcome.path}")
    print(f"report     {report}")
