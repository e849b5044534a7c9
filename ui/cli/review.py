"""``perpend review``: plays a recording back in the window, or two beside each other."""

from __future__ import annotations

import argparse
from pathlib import Path

from ui.cli.arguments import add_language, add_target, existing_folder, target_for
from ui.cli.batch import Batch, trial_of
from ui.errors import UserError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the recording")
    parser.add_argument(
        "beside", type=Path, nargs="?", metavar="OTHER",
        help="another one, shown beside it at the same elevation",
    )  # fmt: skip
    add_target(parser)
    add_language(parser)
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="DIR", help="folder for saved pictures"
    )


def run(args: argparse.Namespace) -> int:
    """Open the window and return its exit code."""
    files = [path for path in (args.file, args.beside) if path is not None]
    target, out_dir = target_for(args.target), existing_folder(args.out)
    trials = [
        trial
        for path in files
        for trial in Batch("review", [path], "resolving").done(lambda one: trial_of(one, target))
    ]
    try:
        from ui.desktop import open_review_window, use_language

        if args.language:
            use_language(args.language)
        return open_review_window(trials, out_dir=out_dir)
    except ImportError as cause:  # Qt itself, or a library of the system that it needs
        raise UserError(
            f"the window needs Qt ({cause}); install perpend with its desktop extra, "
            "and the system's libraries that `make live` names"
        ) from cause
