"""``perpend live``: opens the trainer window."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import (
    add_label,
    add_port,
    add_target,
    existing_folder,
    label_for,
    rig_for,
    target_for,
)
from ui.cli.stream import add_lsl, stream_for
from ui.errors import UserError

if TYPE_CHECKING:
    from acquisition.recording.model import TrialLabel
    from acquisition.rig import RigDescription
    from acquisition.sinks import SinkMaker
    from analysis.target import Target


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_port(parser)
    add_target(parser)
    add_label(parser)
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="DIR", help="folder for recordings"
    )
    add_lsl(parser)


def run(args: argparse.Namespace) -> int:
    """Open the window and return its exit code."""
    from analysis.target import Target

    rig, target = rig_for(args.port, args.rig), target_for(args.target) or Target()
    return open_window(
        args.port,
        out_dir=existing_folder(args.out),
        rig=rig,
        target=target,
        label=label_for(args),
        also=stream_for(args, rig, target),
    )


def open_window(
    port: str,
    *,
    out_dir: Path,
    rig: RigDescription | None = None,
    target: Target | None = None,
    label: TrialLabel | None = None,
    also: SinkMaker | None = None,
) -> int:
    """Open the window on a port; what is not given has its default.

    Raises:
        UserError: The desktop part is not installed.
    """
    from acquisition.recording.model import TrialLabel
    from analysis.target import Target
    from ui.desktop import open_live_window

    try:
        return open_live_window(
            port,
            rig=rig or rig_for(port, None),
            target=target or Target(),
            out_dir=out_dir,
            label=label or TrialLabel(),
            also=also,
        )
    except ImportError as cause:  # Qt itself, or a library of the system that it needs
        raise UserError(
            f"the window needs Qt ({cause}); install perpend with its desktop extra, "
            "and the system's libraries that `make live` names"
        ) from cause
