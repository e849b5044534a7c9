"""The tables: every key, units in the dictionary, the same bytes, whole or not at all."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.recording.reader import read_recording
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.pipeline import analyse
from analysis.tidy.files import csv_text, table_files
from analysis.tidy.practice import head_of, placed
from analysis.tidy.result import as_line, plain_result, target_hash
from analysis.tidy.rows import (
    RECORDING_COLUMNS,
    WITHHELD_COLUMNS,
    Column,
    dictionary_rows,
    recording_row,
    repetition_columns,
    repetition_rows,
    withheld_rows,
)

DEMO = Path(__file__).resolve().parents[3] / "recordings_demo" / "upward_drift_right.h5"
COLUMNS = (
    Column("name", "text", "", "A name"),
    Column("force", "number", "N", "A force"),
    Column("count", "whole", "", "A count"),
    Column("yes", "yes_no", "", "A yes or no"),
)
ROWS: list[dict[str, Any]] = [
    {"name": 'a "b", c', "force": 0.1 + 0.2, "count": 3, "yes": True},
    {"name": "", "force": None, "count": None, "yes": False},
    {"name": "ü−", "force": -0.0, "count": -1, "yes": None},
]


@pytest.fixture(scope="module")
def result() -> dict[str, Any]:
    recording = read_recording(DEMO)
    return plain_result(recording, analyse(recording))


def test_there_is_a_row_for_each_phase_with_every_key(result: dict[str, Any]) -> None:
    (place,) = placed([head_of("a.h5", "", result)])

    rows = list(repetition_rows(result, place))

    keys = {one.key for one in PHASE_MEASURES} | {one.key for one in REPETITION_MEASURES}
    assert [row["phase"] for row in rows] == ["raise", "lower", "movement"]
    assert all(row.keys() >= keys for row in rows)
    assert all(list(row) == [one.name for one in repetition_columns()] for row in rows)
    phases = result["repetitions"][0]["phases"]
    assert [row["force_mean_N"] for row in rows] == [
        phases[name]["force_mean_N"] for name in ("raise", "lower", "movement")
    ]
    assert {row["person"] for row in rows} == {"T01"}
    assert {row["group"] for row in rows} == {"T"}


def test_every_measure_that_is_missing_has_its_reason_in_a_table(result: dict[str, Any]) -> None:
    (place,) = placed([head_of("a.h5", "", result)])

    rows = list(withheld_rows(result, place))

    told = {(row["phase"], row["measure"]) for row in rows if row["reason"]}
    missing = {
        (phase, key)
        for phase, values in result["repetitions"][0]["phases"].items()
        for key, value in values.items()
        if value is None
    }
    assert missing <= told
    assert all(list(row) == [one.name for one in WITHHELD_COLUMNS] for row in rows)


def test_a_recording_has_a_row_too(result: dict[str, Any]) -> None:
    (place,) = placed([head_of("a.h5", "", result)])

    row = recording_row(result, place)

    assert list(row) == [one.name for one in RECORDING_COLUMNS]
    assert row["repetitions"] == 1
    assert row["target"] == target_hash(result["target"])


def test_the_dictionary_has_unit_and_meaning_of_each_measure() -> None:
    rows = {row["column"]: row for row in dictionary_rows({"main": repetition_columns()})}

    assert rows["force_mean_N"]["unit"] == "N"
    assert rows["superior_drift_deg_per_10deg"]["unit"] == "°/10°"
    assert rows["complete"]["kind"] == "yes_no"
    assert rows["side"]["kind"] == "text"
    assert all(row["meaning"] and row["kind"] for row in rows.values())


def test_a_result_is_the_same_line_whenever_it_is_made(result: dict[str, Any]) -> None:
    recording = read_recording(DEMO)

    assert as_line(result) == as_line(plain_result(recording, analyse(recording)))


def written(folder: Path) -> dict[str, bytes]:
    folder.mkdir()
    with table_files(folder / "t", COLUMNS, ("csv", "parquet")) as append:
        for row in ROWS:
            append(row)
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_the_same_rows_give_the_same_bytes(tmp_path: Path) -> None:
    first = written(tmp_path / "one")

    assert first.keys() == {"t.csv", "t.parquet"}
    assert written(tmp_path / "two") == first


def test_a_csv_keeps_every_digit(tmp_path: Path) -> None:
    text = written(tmp_path / "one")["t.csv"].decode()

    rows = list(csv.DictReader(io.StringIO(text)))

    assert rows[0] == {
        "name": 'a "b", c',
        "force": "0.30000000000000004",
        "count": "3",
        "yes": "true",
    }
    assert rows[1] == {"name": "", "force": "", "count": "", "yes": "false"}
    assert float(csv_text(np.pi)) == np.pi


def test_parquet_read_by_its_library_gives_the_rows_and_units(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="needs the extra [study]")
    written(tmp_path / "one")

    table = parquet.read_table(tmp_path / "one" / "t.parquet")

    assert table.to_pylist() == ROWS
    assert [str(field.type) for field in table.schema] == ["string", "double", "int64", "bool"]
    assert table.schema.field("force").metadata[b"unit"] == b"N"


def test_more_rows_than_a_group_holds_come_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="needs the extra [study]")
    monkeypatch.setattr("analysis.tidy.files.ROWS_OF_A_GROUP", 2)
    written(tmp_path / "one")

    file = parquet.ParquetFile(tmp_path / "one" / "t.parquet")

    assert file.num_row_groups == 2
    assert file.read().to_pylist() == ROWS


def test_a_table_that_fails_leaves_what_was_there(tmp_path: Path) -> None:
    before = written(tmp_path / "one")

    with (
        pytest.raises(KeyError),
        table_files(tmp_path / "one" / "t", COLUMNS, ("csv", "parquet")) as append,
    ):
        append({"name": "half a row"})

    assert {path.name: path.read_bytes() for path in (tmp_path / "one").iterdir()} == before
