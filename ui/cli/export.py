"""``perpend export``: recordings for other programs: tables, C3D, a dataset folder."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from ui.cli.arguments import add_json, add_recordings, add_target, existing_folder, target_for
from ui.cli.batch import Batch, recordings_in
from ui.cli.exit_codes import FAILED
from ui.errors import UserError

KINDS = {
    "measures": "tables, a row for each repetition and phase (default)",
    "series": "tables, a row for each sample",
    "c3d": "C3D: force, direction and phases",
    "motion": "a dataset folder after Motion-BIDS",
}
"""As in `analysis.export.exporters.EXPORTERS`, which is slow to load."""
TABLES = ("csv", "parquet")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    told = "; ".join(f"{name}: {meaning}" for name, meaning in KINDS.items())
    parser.add_argument("--as", dest="kind", choices=tuple(KINDS), default="measures", help=told)
    parser.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="DIR",
        help="new or empty folder; made if need be",
    )
    parser.add_argument(
        "--table", choices=TABLES, action="append", help="kind of tables; else both CSV and Parquet"
    )
    add_target(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Write the files, say which, and return the exit code."""
    from acquisition.recording.index import read_entry
    from acquisition.recording.reader import read_unchanged
    from analysis.export.exporters import EXPORTERS, Item, Order
    from analysis.pipeline import analyse

    files, target = recordings_in(args.files), target_for(args.target)
    _check_names(files)
    out = _empty_folder(args.out)
    looking = Batch("export", files, "looking")
    entries = {entry.path: entry for entry in looking.done(read_entry)}
    exporter = EXPORTERS[args.kind].make(Order(out, args.table or TABLES, tuple(entries.values())))
    writing = Batch("export", list(entries), "resolving and writing")

    def write(path: Path) -> None:
        recording = read_unchanged(path)
        exporter.add(Item(entries[path], recording, analyse(recording, target)))

    for _ in writing.done(write):
        pass
    exporter.close()
    written = sorted(path for path in out.rglob("*") if path.is_file())
    if args.json:
        print(json.dumps({"folder": str(out), "files": [str(path) for path in written]}, indent=2))
    else:
        print(*written, sep="\n")
    return max(looking.exit_code, writing.exit_code) if entries else FAILED


def _check_names(files: list[Path]) -> None:
    """Files are named after the recordings, so these must differ."""
    by_name: dict[str, Path] = {}
    for path in files:
        other = by_name.setdefault(path.name, path)
        if other is not path:
            raise UserError(f"{path}: {other} has the same name; export them one by one")


def _empty_folder(out: Path) -> Path:
    existing_folder(out.parent)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise UserError(f"{out}: holds something already; name a new or an empty folder")
    out.mkdir(exist_ok=True)
    return out
