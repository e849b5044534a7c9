"""``perpend export``: every format from a recording, and nothing overwritten."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from analysis.export.exporters import EXPORTERS
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.tidy.files import WRITERS
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.export import KINDS, TABLES

Perpend = Callable[..., Any]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_help_names_every_format() -> None:
    assert list(KINDS) == list(EXPORTERS)
    assert set(TABLES) == set(WRITERS)


@pytest.mark.parametrize(
    ("kind", "wanted"),
    [
        ("measures", {"repetitions.csv", "recordings.csv", "withheld.csv", "dictionary.csv"}),
        ("series", {"trial_series.csv", "dictionary.csv"}),
        ("c3d", {"trial.c3d"}),
    ],
)
def test_each_format_writes_its_files(
    perpend: Perpend, recorded: Path, tmp_path: Path, kind: str, wanted: set[str]
) -> None:
    out = tmp_path / "out"

    said = perpend("export", recorded, "--as", kind, "--out", out, "--table", "csv")

    assert said.code == DONE
    assert {path.name for path in out.iterdir()} == wanted
    assert set(said.out.split()) == {str(path) for path in out.iterdir()}


def test_a_dataset_folder_is_told_in_json(perpend: Perpend, recorded: Path, tmp_path: Path) -> None:
    said = perpend("export", recorded, "--as", "motion", "--out", tmp_path / "set", "--json")

    told = json.loads(said.out)
    assert str(tmp_path / "set" / "participants.tsv") in told["files"]


def test_every_measure_is_a_column_with_its_unit_in_the_dictionary(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    perpend("export", recorded, "--out", tmp_path / "out", "--table", "csv")

    rows = rows_of(tmp_path / "out" / "repetitions.csv")
    units = {row["column"]: row["unit"] for row in rows_of(tmp_path / "out" / "dictionary.csv")}
    assert [row["phase"] for row in rows] == ["raise", "lower", "movement"]
    wanted = {one.key: one.unit for one in PHASE_MEASURES}
    wanted |= {one.key: one.unit for one in REPETITION_MEASURES}
    assert wanted.items() <= units.items()
    assert set(wanted) <= set(rows[0])


def test_the_same_recording_gives_the_same_bytes(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    for name in ("a", "b"):
        perpend("export", recorded, "--as", "series", "--out", tmp_path / name)

    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()


def test_a_folder_that_holds_something_is_left_alone(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "precious").write_text("mine")

    said = perpend("export", recorded, "--out", tmp_path / "out")

    assert said.code == FAILED
    assert "holds something already; name a new or an empty folder" in said.err
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["precious"]


def test_a_bad_file_among_good_ones_is_told_and_skipped(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    shutil.copy(recorded, folder / "good.h5")
    (folder / "bad.h5").write_bytes(b"no recording")

    said = perpend("export", folder, "--as", "c3d", "--out", tmp_path / "out")

    assert said.code == INCOMPLETE
    assert "skipped" in said.err
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["good.c3d"]


def test_two_recordings_of_one_name_are_refused(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    other = Path(shutil.copy(recorded, tmp_path / recorded.name))

    said = perpend("export", recorded, other, "--out", tmp_path / "out")

    assert said.code == FAILED
    assert "has the same name; export them one by one" in said.err
