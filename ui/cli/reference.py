"""``perpend reference``: builds an expert reference band from recordings.

Recordings of one expert are pooled, whenever they were made: what differs from session to session
is part of the expert's own spread.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import add_json, add_recordings, add_seed, add_target, target_for
from ui.cli.batch import Batch, evidence_in, recordings_in
from ui.cli.output import new_files, write_whole
from ui.errors import UserError

if TYPE_CHECKING:
    from analysis.reference.model import ReferenceSettings


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    parser.add_argument(
        "--out", type=Path, required=True, metavar="JSON", help="the reference; its picture goes "
        "beside it, as SVG",
    )  # fmt: skip
    add_target(parser)
    group = parser.add_argument_group("the band")
    group.add_argument(
        "--level", type=float, default=95.0, metavar="PERCENT",
        help="chance that a whole further repetition stays in it (default 95)",
    )  # fmt: skip
    group.add_argument(
        "--resamples", type=int, default=2000, metavar="N",
        help="invented groups of experts drawn (default 2000)",
    )  # fmt: skip
    add_seed(group, "of the drawing")
    parser.add_argument("--force", action="store_true", help="replace files of the same name")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Build the reference, write file and picture, say what it means, return the exit code."""
    from analysis.reference.build import build_reference
    from analysis.reference.reference_file import reference_json
    from ui.report.figures.arc_bands import reference_picture

    settings = _settings(args)
    picture = args.out.with_suffix(".svg")
    new_files((args.out, picture), force=args.force)
    files, target = recordings_in(args.files), target_for(args.target)
    batch = Batch("reference", files, "analysing")
    reference = build_reference(batch.done(lambda path: evidence_in(path, target)), settings)
    text = reference_json(reference)
    write_whole(args.out, text)
    write_whole(picture, reference_picture(reference))
    if args.json:
        sys.stdout.write(text)
    else:
        from ui.cli.reference_table import reference_table
        from ui.cli.tables import print_all

        print_all([reference_table(reference)])
        print(f"reference  {args.out}")
        print(f"picture    {picture}")
    return batch.exit_code


def _settings(args: argparse.Namespace) -> ReferenceSettings:
    import msgspec

    from analysis.reference.model import ReferenceSettings

    if not 50.0 < args.level < 100.0:
        raise UserError(
            f"--level: {args.level:g} % will not do; between 50 % and 100 %, without these two"
        )
    given = {"level": args.level / 100.0, "resamples": args.resamples, "seed": args.seed}
    try:
        return msgspec.convert(given, ReferenceSettings)
    except msgspec.ValidationError as cause:
        raise UserError(f"--resamples or --seed: {cause}") from cause
