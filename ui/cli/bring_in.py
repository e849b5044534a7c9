"""``perpend bring-in``: a recording out of a CSV log of another acquisition system."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from ui.cli.arguments import add_json, add_label, add_target, label_for, target_for
from ui.cli.exit_codes import DONE, INCOMPLETE
from ui.cli.output import new_recording


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument(
        "log", type=Path, metavar="LOG.csv",
        help="columns time_s, fx_n fy_n fz_n (push of the hand on the humerus, cell frame), with "
        "six axes mx_nm my_nm mz_nm, ax_m_s2 ay_m_s2 az_m_s2 (specific force) and gx_rad_s "
        "gy_rad_s gz_rad_s, IMU frame",
    )  # fmt: skip
    parser.add_argument(
        "--rig", type=Path, required=True, metavar="TOML",
        help="rig description; its calibration and scales are not used, all else is",
    )  # fmt: skip
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="PATH",
        help="file, or folder; in a folder it gets a name of its own, below CODE/DAY; never "
        "overwritten",
    )  # fmt: skip
    parser.add_argument(
        "--map", action="append", default=[], metavar="COLUMN=[-]NAME[:UNIT]",
        help="a column of another name, unit or sign, such as fx_n=Force_X:kN; may be repeated",
    )  # fmt: skip
    add_target(parser)
    add_label(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Bring a log in, re-read what was written, and return the exit code."""
    from acquisition.bring_in import bring_in
    from acquisition.clock import SystemClock
    from acquisition.recording.reader import read_recording
    from acquisition.recording.session_folder import remove_empty_folders
    from acquisition.rig import load_rig

    target, rig = target_for(args.target), load_rig(args.rig)
    path, label = new_recording(args.out, label_for(args))
    try:
        done = bring_in(
            args.log,
            path,
            rig=rig,
            clock=SystemClock(),
            mapping=args.map,
            label=label,
            target_json=target.to_json() if target else "",
        )
    finally:
        remove_empty_folders(args.out, path)  # one that was made for nothing
    read_recording(done.path)
    gaps = f"gaps: {done.gaps} ({done.missing_samples} samples)" if done.gaps else "no gap"
    print(f"brought in: {done.samples} samples at {done.rate_hz:.6g} Hz, {gaps}", file=sys.stderr)
    if args.json:
        plain = {"file": str(done.path), "samples": done.samples, "rate_hz": done.rate_hz}
        print(json.dumps({**plain, "gaps": done.gaps, "missing_samples": done.missing_samples}))
    else:
        print(done.path)
    return INCOMPLETE if done.gaps else DONE
