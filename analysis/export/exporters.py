"""What recordings can be exported as. A new format is one class and one line in `EXPORTERS`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from acquisition.recording.index import Entry
from acquisition.recording.model import Recording
from analysis.export.channels import CHANNELS, columns_of
from analysis.export.motion_dataset import runs_of, write_dataset, write_run
from analysis.tidy.arrays import write_arrays
from analysis.tidy.files import table_files
from analysis.tidy.practice import Head, head_of, placed
from analysis.tidy.result import plain_result
from analysis.tidy.rows import (
    DICTIONARY_COLUMNS,
    RECORDING_COLUMNS,
    WITHHELD_COLUMNS,
    Column,
    dictionary_rows,
    recording_row,
    repetition_columns,
    repetition_rows,
    withheld_rows,
)
from analysis.trial import Trial

SERIES_COLUMNS: tuple[Column, ...] = tuple(
    Column(one.name, "yes_no" if one.is_flag else "number", one.unit, one.meaning)
    for one in CHANNELS
)


@dataclass(frozen=True, slots=True)
class Order:
    """What is wanted.

    Attributes:
        root: Folder for the files, there and empty.
        tables: Kinds of table files, of `analysis.tidy.files.WRITERS`.
        entries: All recordings that may come.
    """

    root: Path
    tables: Sequence[str]
    entries: Sequence[Entry]


@dataclass(frozen=True, slots=True)
class Item:
    """A recording with what was made of it."""

    entry: Entry
    recording: Recording
    trial: Trial


class Exporter(Protocol):
    """Takes recordings one after another and writes them."""

    def add(self, item: Item) -> None:
        """Take one."""
        ...

    def close(self) -> None:
        """Write what needs all of them."""
        ...


class MeasuresExport:
    """One row for each repetition and phase of all recordings, with a data dictionary."""

    def __init__(self, order: Order) -> None:
        self._root, self._tables = order.root, order.tables
        self._results: dict[str, tuple[Head, dict[str, object]]] = {}

    def add(self, item: Item) -> None:
        """Keep the measures of one."""
        result = plain_result(item.recording, item.trial)
        name = item.entry.path.name
        self._results[name] = head_of(name, name, result), result

    def close(self) -> None:
        """Write the tables, by person and time."""
        main = repetition_columns()
        with (
            table_files(self._root / "repetitions", main, self._tables) as repetition,
            table_files(self._root / "recordings", RECORDING_COLUMNS, self._tables) as one,
            table_files(self._root / "withheld", WITHHELD_COLUMNS, self._tables) as withheld,
        ):
            for place in placed(head for head, _ in self._results.values()):
                _, result = self._results[place.name]
                one(recording_row(result, place))
                for row in repetition_rows(result, place):
                    repetition(row)
                for row in withheld_rows(result, place):
                    withheld(row)
        tables = {
            "repetitions": main,
            "recordings": RECORDING_COLUMNS,
            "withheld": WITHHELD_COLUMNS,
        }
        _write_dictionary(self._root, tables)


class SeriesExport:
    """The push sample by sample, a table for each recording."""

    def __init__(self, order: Order) -> None:
        self._root, self._tables = order.root, order.tables
        _write_dictionary(order.root, {"series": SERIES_COLUMNS})

    def add(self, item: Item) -> None:
        """Write one."""
        known = {column.name: column for column in SERIES_COLUMNS}
        columns = [
            (known[channel.name], values) for channel, values in columns_of(item.trial.series)
        ]
        write_arrays(self._root / f"{item.entry.path.stem}_series", columns, self._tables)

    def close(self) -> None:
        """Nothing needs all of them."""


class C3dExport:
    """A C3D file for each recording."""

    def __init__(self, order: Order) -> None:
        self._root = order.root

    def add(self, item: Item) -> None:
        """Write one."""
        from analysis.export.c3d_file import write_c3d

        write_c3d(item.trial, self._root / f"{item.entry.path.stem}.c3d")

    def close(self) -> None:
        """Nothing needs all of them."""


class MotionExport:
    """A dataset folder."""

    def __init__(self, order: Order) -> None:
        self._root = order.root
        heads = (
            Head(str(one.path), "", one.label.person, one.started_utc, "", "", 0)
            for one in order.entries
        )
        self._runs = runs_of(placed(heads))
        self._written: list[Entry] = []

    def add(self, item: Item) -> None:
        """Write the files of one."""
        write_run(item.trial, self._runs[str(item.entry.path)], self._root)
        self._written.append(item.entry)

    def close(self) -> None:
        """Write what belongs to the whole."""
        told = [(self._runs[str(one.path)], one) for one in self._written]
        write_dataset(self._root, told)


@dataclass(frozen=True, slots=True)
class ExportKind:
    """A format.

    Attributes:
        meaning: For ``--help``.
        make: Makes what writes it.
    """

    meaning: str
    make: Callable[[Order], Exporter]


EXPORTERS: dict[str, ExportKind] = {
    "measures": ExportKind("tables: a row for each repetition and phase", MeasuresExport),
    "series": ExportKind("tables: a row for each sample", SeriesExport),
    "c3d": ExportKind("C3D: force, direction and phases", C3dExport),
    "motion": ExportKind("a dataset folder after Motion-BIDS", MotionExport),
}


def _write_dictionary(root: Path, tables: dict[str, tuple[Column, ...]]) -> None:
    with table_files(root / "dictionary", DICTIONARY_COLUMNS, ("csv",)) as append:
        for row in dictionary_rows(tables):
            append(row)
