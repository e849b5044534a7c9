"""``perpend compare``: a trainee beside the experts' reference, and after beside before."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import add_json, add_recordings, add_seed, add_target, target_for
from ui.cli.batch import Batch, evidence_in, recordings_in
from ui.cli.exit_codes import DONE
from ui.cli.output import new_files, write_whole
from ui.errors import UserError
from ui.numbers import count_of

if TYPE_CHECKING:
    from analysis.comparison.comparison import Comparison
    from analysis.comparison.performance import Performance
    from analysis.reference.evidence import RecordingEvidence
    from analysis.target import Target

METHODS = ("field", "permutation")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    parser.add_argument(
        "--reference", type=Path, metavar="JSON", help="the experts', of perpend reference"
    )
    parser.add_argument(
        "--before", type=Path, nargs="+", default=[], metavar="FILE",
        help="earlier recordings of the same people, or folders",
    )  # fmt: skip
    parser.add_argument(
        "--agree-with", type=Path, nargs="+", default=[], metavar="FILE",
        help="the same repetitions by another rig or method, one recording for one, in the same "
        "order: bias and limits of agreement, and nothing else; of other times: how well a person "
        "repeats a measure",
    )  # fmt: skip
    add_target(parser)
    parser.add_argument(
        "--method", choices=METHODS, default="field",
        help="of the tests along the arc: random field theory (default) or permutations",
    )  # fmt: skip
    add_seed(parser, "of the permutations")
    parser.add_argument("--out", type=Path, metavar="HTML", help="write the report there")
    parser.add_argument("--force", action="store_true", help="replace a report of the same name")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Compare, say what was found, write the report, and return the exit code."""
    from analysis.comparison.comparison import compare
    from analysis.comparison.curve_test import Method
    from analysis.reference.reference_file import load_reference

    if args.agree_with:
        return _agree(args)
    if args.out is not None:
        new_files((args.out,), force=args.force)
    reference = None if args.reference is None else load_reference(args.reference)
    # Experts and trainee are measured against the same, unless it is asked for otherwise.
    target = target_for(args.target) or (reference.target if reference else None)
    after, code = _performance(args.files, target)
    before, earlier = _performance(args.before, target) if args.before else (None, DONE)
    comparison = compare(
        after,
        before=before,
        reference=reference,
        method=Method.PERMUTATION if args.method == "permutation" else Method.FIELD,
        seed=args.seed,
    )
    if args.out is not None:  # before anything is printed to a reader that may have gone
        from ui.report.comparison_report import build_comparison

        write_whole(args.out, build_comparison(comparison))
    _print(comparison, as_json=args.json)
    if args.out is not None and not args.json:
        print(f"\nreport  {args.out}")
    return max(code, earlier)


def _agree(args: argparse.Namespace) -> int:
    from analysis.comparison.methods import agreement_of_methods
    from analysis.plain import plain

    if args.reference or args.before:
        raise UserError("--agree-with stands alone: no --reference and no --before beside it")
    if args.out is not None:
        new_files((args.out,), force=args.force)
    pairs, code = _pairs(args.files, args.agree_with, target_for(args.target))
    found = agreement_of_methods(pairs)
    if args.out is not None:
        from ui.report.agreement_report import build_agreement

        write_whole(args.out, build_agreement(found))
    if args.json:
        print(json.dumps({"agreement": plain(found)}, indent=2, allow_nan=False))
    else:
        from ui.cli.agreement_table import agreement_table
        from ui.cli.tables import print_all

        print_all([agreement_table(found)])
        if args.out is not None:
            print(f"\nreport  {args.out}")
    return code


def _pairs(
    files: list[Path], others: list[Path], target: Target | None
) -> tuple[list[tuple[RecordingEvidence, RecordingEvidence]], int]:
    """Return recordings pair by pair, so that a bad one takes its partner along and no other."""
    first, second = recordings_in(files), recordings_in(others)
    if len(first) != len(second):
        raise UserError(
            f"{count_of(len(first), 'recording')} and {len(second)} after --agree-with make no "
            "pairs: name them in the same order, one for one"
        )
    partner = dict(zip(first, second, strict=True))
    batch = Batch("compare", first, "analysing")
    found = list(
        batch.done(lambda path: (evidence_in(path, target), evidence_in(partner[path], target)))
    )
    return found, batch.exit_code


def _performance(files: list[Path], target: Target | None) -> tuple[Performance, int]:
    from analysis.comparison.performance import performance_of

    found, code = _evidence(files, target)
    return performance_of(found), code


def _evidence(files: list[Path], target: Target | None) -> tuple[list[RecordingEvidence], int]:
    batch = Batch("compare", recordings_in(files), "analysing")
    found = list(batch.done(lambda path: evidence_in(path, target)))
    return found, batch.exit_code


def _print(comparison: Comparison, *, as_json: bool) -> None:
    if as_json:
        from analysis.comparison.plain import plain_comparison

        print(json.dumps(plain_comparison(comparison), indent=2, allow_nan=False))
        return
    from ui.cli.comparison_table import comparison_tables
    from ui.cli.tables import print_all

    print_all(comparison_tables(comparison))
