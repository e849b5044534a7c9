"""Tables whose columns are there as arrays: long ones, written at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.errors import StudyError
from analysis.tidy.rows import Column

Columns = Sequence[tuple[Column, NDArray[Any]]]


def write_arrays(stem: Path, columns: Columns, kinds: Sequence[str]) -> list[Path]:
    """Write a table into all *kinds* of files; return their paths.

    Numbers have all their digits; NaN is an empty cell, or null. The same arrays give the same
    bytes. Each file is there whole or not at all; what was there before is replaced.

    Args:
        stem: Path without suffix.
        columns: Of equal length.
        kinds: Of `ARRAY_WRITERS`.

    Raises:
        StudyError: The library is not installed.
        OSError: It cannot be written.
    """
    table = _table(columns)
    return [_write(stem.with_name(f"{stem.name}.{kind}"), table, kind) for kind in kinds]


def _table(columns: Columns) -> Any:
    try:
        import pyarrow as pa
    except ImportError as cause:
        raise StudyError("tables need pyarrow: install perpend with its extra [study]") from cause
    schema = pa.schema(
        pa.field(
            one.name, pa.from_numpy_dtype(values.dtype),
            metadata={"unit": one.unit, "meaning": one.meaning},
        )
        for one, values in columns
    )  # fmt: skip
    # from_pandas: NaN, which says "not known" here, becomes null.
    arrays = [
        pa.array(np.ascontiguousarray(values), type=field.type, from_pandas=True)
        for (_, values), field in zip(columns, schema, strict=True)
    ]
    return pa.Table.from_arrays(arrays, schema=schema)


def _write(path: Path, table: Any, kind: str) -> Path:
    part = path.with_name(f"{path.name}.part")
    try:
        ARRAY_WRITERS[kind](table, part)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path


def _csv(table: Any, path: Path) -> None:
    import pyarrow.csv as pc

    pc.write_csv(table, path, pc.WriteOptions(quoting_style="needed"))


def _parquet(table: Any, path: Path) -> None:
    import pyarrow.parquet as pq

    pq.write_table(table, path, compression="zstd")


ARRAY_WRITERS: Mapping[str, Callable[[Any, Path], None]] = {"csv": _csv, "parquet": _parquet}
"""By suffix."""
