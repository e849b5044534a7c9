"""``perpend assess``: the result sheet of an examination, from a recording and a checklist."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from ui.cli.arguments import add_json, add_target, existing_folder, target_for
from ui.cli.exit_codes import DONE, INCOMPLETE


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the recording")
    add_target(parser)
    group = parser.add_argument_group(
        "the instructor's checklist", "What was ticked in the window is in the recording already."
    )
    group.add_argument(
        "--checklist", type=Path, metavar="TOML", help="one of your own, ticked or not"
    )
    group.add_argument(
        "--yes", action="append", default=[], metavar="KEY", help="this was seen; again for more"
    )
    group.add_argument(
        "--no", action="append", default=[], metavar="KEY", help="this was not; again for more"
    )
    group.add_argument("--examiner", default="", metavar="CODE", help="code, such as E02; no name")
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where the sheet goes; else by the recording"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Write the next version of the sheet, print where it is, and return the exit code."""
    from acquisition.recording.reader import read_recording
    from analysis.pipeline import analyse
    from ui.cli.progress import working
    from ui.live.practice.assessment import assess_trial
    from ui.live.practice.checklist import ChecklistError, Tick, load_checklist
    from ui.live.practice.ticking import ticked_in
    from ui.report.result_sheet import store_sheet

    for key in args.yes:
        if key in args.no:
            raise ChecklistError(f"{key}: answered both --yes and --no; leave one out")
    ticks = dict.fromkeys(args.yes, Tick.YES) | dict.fromkeys(args.no, Tick.NO)
    checklist = load_checklist(args.checklist).ticked(ticks, args.examiner)
    folder = args.file.parent if args.out is None else args.out
    existing_folder(folder)
    with working("resolving"):
        recording = read_recording(args.file)
        trial = analyse(recording, target_for(args.target))
        outcome = assess_trial(trial, ticked_in(recording.events, checklist))
        sheet = store_sheet(outcome, folder, args.file.stem)
    if args.json:
        plain = {"sheet": str(sheet.path), "version": sheet.number, "new": sheet.fresh}
        print(json.dumps(plain | outcome.to_dict(), indent=2, allow_nan=False))
        return INCOMPLETE if outcome.unfinished else DONE
    if outcome.unfinished:
        print(f"not finished: {outcome.unfinished}")
    for one in outcome.criteria:
        print(f"{one.label}: {one.verdict.value}")
    for item in outcome.checklist.items:
        print(f"{item.key}: {item.tick.value}")
    print(f"{sheet.path}" if sheet.fresh else f"{sheet.path} says this already")
    return INCOMPLETE if outcome.unfinished else DONE
