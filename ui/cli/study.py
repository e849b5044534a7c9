"""``perpend study``: many recordings of many people, as tables, statistics and a report."""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import add_json, add_target, existing_folder, target_for, whole_number
from ui.cli.batch import recordings_in
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from analysis.study.cohort import Cohort
    from analysis.study.findings import MeasureFindings
    from analysis.study.job import FileResult, Job
    from analysis.study.sample import Sample

KINDS = ("csv", "parquet")
FINDINGS, PAGE = "findings.json", "study.html"
ROLES = (
    "A recording's condition, or the name of its block of a practice plan, makes it a test by a "
    "word anywhere in it: baseline, pre_test (or beginning with before); retention, post_test, "
    "follow_up; transfer. Everything else is practice. Unfinished and set-aside repetitions are "
    "in the tables, not in the statistics."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.epilog = ROLES
    parser.add_argument("folder", type=Path, metavar="DIR", help="holds the recordings")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="for the results; made if need be"
    )
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--jobs", type=whole_number(1), metavar="N", help="processes; else one for each core"
    )
    where.add_argument(
        "--cluster", metavar="URL", help="Dask scheduler, such as tcp://192.0.2.10:8786"
    )
    parser.add_argument(
        "--groups", type=Path, metavar="CSV",
        help="table with the columns person,group: who belongs to which group",
    )  # fmt: skip
    add_target(parser)
    parser.add_argument("--force", action="store_true", help="replace the results of a study there")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Measure what is not measured yet, write the tables, and return the exit code."""
    from analysis.study.cache import ResultCache
    from analysis.study.cohort import gather
    from analysis.study.job import Job
    from analysis.study.sample import read_groups
    from ui.cli.progress import counted

    # Whole paths, for a worker's current folder may be another one.
    root = existing_folder(args.folder).resolve()
    files = recordings_in([root])
    groups = read_groups(args.groups) if args.groups else {}
    cache = ResultCache(_results_folder(args.out, force=args.force) / "cache")
    target = target_for(args.target)
    job = Job(target.to_json() if target else "", str(cache.folder.resolve()))
    with counted(len(files), "measuring") as done:

        def told(one: FileResult) -> None:
            if one.problem:
                print(f"perpend study: left out {one.path}: {one.problem}", file=sys.stderr)
            done()

        cohort = gather(_results(args, files, job), root, cache, progress=told)
    sample, found = _write(cohort, args.out, groups)
    return _told(cohort, sample, found, args.out, as_json=args.json)


def _write(
    cohort: Cohort, out: Path, groups: Mapping[str, str]
) -> tuple[Sample, tuple[MeasureFindings, ...]]:
    """Write the tables, what is found of each measure, and the page; return what is found."""
    from analysis.plain import plain
    from analysis.study.cohort import target_of, write_tables
    from analysis.study.findings import findings
    from analysis.study.sample import Gathering, sample_of
    from ui.cli.output import write_whole
    from ui.report.study_report import build_study

    gathering = Gathering()
    write_tables(cohort, out, KINDS, gathering, groups)
    sample = sample_of(gathering, [place.person for place in cohort.places], groups)
    if not cohort.places:
        return sample, ()
    found = findings(sample.done)
    write_whole(out / FINDINGS, json.dumps(plain(found), indent=1, allow_nan=False) + "\n")
    write_whole(out / PAGE, build_study(cohort, sample, found, target_of(cohort, sample.target)))
    return sample, found


def _results_folder(out: Path, *, force: bool) -> Path:
    """Return the folder, made if need be, in which nothing will be overwritten unasked."""
    from analysis.study.cohort import table_names
    from ui.cli.output import new_files

    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        raise UserError(f"{out}: cannot be a folder: {cause.strerror}; name another") from cause
    new_files([out / name for name in (*table_names(KINDS), FINDINGS, PAGE)], force=force)
    return out


def _results(args: argparse.Namespace, files: Sequence[Path], job: Job) -> Iterator[FileResult]:
    if args.cluster:
        from analysis.study.cluster import run_cluster

        return run_cluster([str(path) for path in files], job, args.cluster)
    from analysis.study.batch import run_local

    return run_local([str(path) for path in files], job, args.jobs or os.cpu_count() or 1)


def _told(
    cohort: Cohort,
    sample: Sample,
    found: tuple[MeasureFindings, ...],
    out: Path,
    *,
    as_json: bool,
) -> int:
    from analysis.plain import plain
    from ui.counted import notices
    from ui.numbers import count_of

    not_counted = notices(sample)
    counts = {
        "recordings": len(cohort.places),
        "people": len(sample.people),
        "left_out": len(cohort.left_out),
        "measured_before": cohort.cached,
        "targets": list(cohort.targets),
        "notices": not_counted,
        "folder": str(out),
    }
    if as_json:
        print(json.dumps({**counts, "findings": plain(found)}, indent=2, allow_nan=False))
    else:
        print(
            f"{count_of(len(cohort.places), 'recording')} of "
            f"{count_of(len(sample.people), 'person', 'people')} in {out}; "
            f"{len(cohort.left_out)} left out, {cohort.cached} measured before"
        )
        for notice in not_counted:
            print(notice)
        if cohort.places:
            print(f"report  {out / PAGE}")
    if not cohort.places:
        return FAILED
    return INCOMPLETE if cohort.left_out else DONE
