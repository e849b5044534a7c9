"""Long tables, written at once and read back."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
from numpy.typing import NDArray

from analysis.tidy.arrays import write_arrays
from analysis.tidy.rows import Column

VALUES: NDArray[Any] = np.array([0.1, np.nan, 1.0 / 3.0])
FLAGS: NDArray[Any] = np.array([True, False, True])
COLUMNS = (
    (Column("force_N", "number", "N", "Push"), VALUES),
    (Column("contact", "yes_no", "", "Hand on"), FLAGS),
)


def test_numbers_keep_all_their_digits_and_nothing_is_an_empty_cell(tmp_path: Path) -> None:
    path, _ = write_arrays(tmp_path / "series", COLUMNS, ("csv", "parquet"))

    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))

    assert [row["force_N"] for row in rows] == [repr(0.1), "", repr(1.0 / 3.0)]
    assert [row["contact"] for row in rows] == ["true", "false", "true"]


def test_parquet_has_nulls_units_and_meanings(tmp_path: Path) -> None:
    _, path = write_arrays(tmp_path / "series", COLUMNS, ("csv", "parquet"))

    table = pq.read_table(path)

    assert table.column("force_N").to_pylist() == [0.1, None, 1.0 / 3.0]
    assert table.schema.field("force_N").metadata == {b"unit": b"N", b"meaning": b"Push"}


def test_the_same_arrays_give_the_same_bytes_and_no_part_is_left(tmp_path: Path) -> None:
    first = write_arrays(tmp_path / "a", COLUMNS, ("csv", "parquet"))
    second = write_arrays(tmp_path / "b", COLUMNS, ("csv", "parquet"))

    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]
    assert len(list(tmp_path.iterdir())) == 4
