"""Tables as files: CSV and Parquet, row by row, the same rows the same bytes."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO, Any

from analysis.errors import StudyError
from analysis.tidy.rows import Column, Row

ROWS_OF_A_GROUP = 4096
"""Rows held in memory before they go into a Parquet file."""

Append = Callable[[Row], None]


@contextmanager
def table_files(stem: Path, columns: Sequence[Column], kinds: Sequence[str]) -> Iterator[Append]:
    """Give what appends a row to a table in all *kinds* of files.

    The files are called ``.part`` until the end and are there whole or not at all; what was
    there before is replaced.

    Args:
        stem: Path without suffix.
        columns: Of the table.
        kinds: Of `WRITERS`.

    Raises:
        StudyError: Parquet is asked for and its library is not installed.
        OSError: They cannot be written.
    """
    parts = {kind: stem.with_name(f"{stem.name}.{kind}.part") for kind in kinds}
    try:
        with ExitStack() as stack:
            writers = [stack.enter_context(WRITERS[kind](parts[kind], columns)) for kind in kinds]

            def append(row: Row) -> None:
                for write in writers:
                    write(row)

            yield append
        for kind, part in parts.items():
            part.replace(stem.with_name(f"{stem.name}.{kind}"))
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)


def csv_text(value: object) -> str:
    """Return a value as it stands in a CSV: all digits of a number, nothing for nothing."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value) if isinstance(value, float) else str(value)


@contextmanager
def _csv(path: Path, columns: Sequence[Column]) -> Iterator[Append]:
    names = [column.name for column in columns]
    file: IO[str]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(names)
        yield lambda row: writer.writerow([csv_text(row[name]) for name in names])


@contextmanager
def _parquet(path: Path, columns: Sequence[Column]) -> Iterator[Append]:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as cause:
        raise StudyError(
            "Parquet tables need pyarrow: install perpend with its extra [study]"
        ) from cause
    types = {"number": pa.float64(), "whole": pa.int64(), "yes_no": pa.bool_(), "text": pa.string()}
    # Units and meanings travel with the file; nothing of when and where does.
    schema = pa.schema(
        pa.field(one.name, types[one.kind], metadata={"unit": one.unit, "meaning": one.meaning})
        for one in columns
    )
    rows: list[Row] = []
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:

        def flush() -> None:
            if rows:
                writer.write_table(pa.Table.from_pylist(rows, schema=schema))
                rows.clear()

        def append(row: Row) -> None:
            rows.append(row)
            if len(rows) == ROWS_OF_A_GROUP:
                flush()

        yield append
        flush()


WRITERS: Mapping[str, Any] = {"csv": _csv, "parquet": _parquet}
"""By suffix; a new kind of table file is a function and a line."""
