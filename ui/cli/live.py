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
from ui.errors import UserError

if TYPE_CHECKING:
    from acquisition.recording.model import TrialLabel
    from acquisition.rig import RigDescription
    from analysis.target import Target


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_port(parser)
    add_target(parser)
    add_label(parser)
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="DIR", help="folder for recordings"
    )


def run(args: argparse.Namespace) -> int:
    """Open the window and return its exit code."""
    return open_window(
        args.port,
        out_dir=existing_folder(args.out),
        rig=rig_for(args.port, args.rig),
        target=target_for(args.target),
        label=label_for(args),
    )


def open_window(
    port: str,
    *,
    out_dir: Path,
    rig: RigDescription | None = None,
    target: Target | None = None,
    label: TrialLabel | None = None,
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
        )
    except ImportError as cause:  # Qt itself, or a library of the system that it needs
        raise UserError(
            f"the window needs Qt ({cause}); install perpend with its desktop extra, "
            "and the system's libraries that `make live` names"
        ) from cause
