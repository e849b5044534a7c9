"""``perpend demo``: the main job on the virtual rig, from the wire to the report."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument("--trainee", default="T01", metavar="CODE", help="who is at the rig")
    parser.add_argument("--seed", type=int, default=7, help="another seed, another trial")
    parser.add_argument("--side", choices=("right", "left"), default="right")
    parser.add_argument("--axes", choices=("3", "6"), default="3", help="of the load cell")
    parser.add_argument("--out", type=Path, default=Path("out"), metavar="DIR", help="folder")
    parser.add_argument("--live", action="store_true", help="open the window instead")


def run(args: argparse.Namespace) -> int:
    """Record three repetitions, print the table, write the report, return the exit code."""
    rig = f"virtual:?trainee={args.trainee}&seed={args.seed}&side={args.side}&axes={args.axes}"
    args.out.mkdir(parents=True, exist_ok=True)
    if args.live:
        from ui.cli.live import open_window

        return open_window(f"{rig}&reps=0", out_dir=args.out)
    return _whole_way(f"{rig}&reps=3&speed=max", args)


def _whole_way(port: str, args: argparse.Namespace) -> int:
    from acquisition.record import record_trial
    from acquisition.recording.model import TrialLabel
    from acquisition.recording.reader import read_recording
    from analysis.pipeline import analyse
    from analysis.target import Target
    from ui.cli.arguments import rig_for, write_whole
    from ui.cli.main import DONE, INCOMPLETE
    from ui.cli.progress import working
    from ui.cli.record import file_for, progress_line, said
    from ui.cli.tables import print_trial
    from ui.report import build_report

    with progress_line(None) as progress:
        outcome = record_trial(
            port,
            file_for(args.out, args.trainee),
            rig=rig_for(port, None),
            target_json=Target().to_json(),
            label=TrialLabel(person=args.trainee, note="virtual rig"),
            progress=progress,
        )
    print(f"recorded {said(outcome)}", file=sys.stderr)
    with working("resolving and drawing"):
        trial = analyse(read_recording(outcome.path))
        report = outcome.path.with_suffix(".html")
        write_whole(report, build_report(trial))
    print_trial(trial)
    print(f"recording  {outcome.path}")
    print(f"report     {report}")
    return DONE if outcome.whole else INCOMPLETE
