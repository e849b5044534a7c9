"""The recordings of a study gathered: which count, which do not and why, in one fixed order."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from analysis.errors import StudyError
from analysis.study.cache import ResultCache
from analysis.study.job import FileResult, fingerprint
from analysis.target import Target, target_from_json
from analysis.tidy.files import table_files
from analysis.tidy.practice import SESSION_GAP_H, Head, Place, head_of, placed
from analysis.tidy.result import target_hash
from analysis.tidy.rows import (
    DICTIONARY_COLUMNS,
    RECORDING_COLUMNS,
    WITHHELD_COLUMNS,
    Column,
    Row,
    dictionary_rows,
    recording_row,
    repetition_columns,
    repetition_rows,
    withheld_rows,
)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A file that does not count.

    Attributes:
        name: From the folder of the study.
        reason: One line.
    """

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Cohort:
    """The recordings that count. Their measures stay on disk until they are asked for.

    Attributes:
        places: By person, then time.
        left_out: By name.
        targets: Short names of the targets they were measured against.
        cached: How many results were there already.
        cache: Where the results are.
    """

    places: tuple[Place, ...]
    left_out: tuple[LeftOut, ...]
    targets: tuple[str, ...]
    cached: int
    cache: ResultCache

    def results(self) -> Iterator[tuple[dict[str, Any], Place]]:
        """Yield each result with its place, one at a time.

        Raises:
            StudyError: One is gone from the cache.
        """
        for place in self.places:
            text = self.cache.get(place.key)
            if text is None:
                raise StudyError(f"{self.cache.folder}: lost the result of {place.name}; run again")
            yield json.loads(text), place


def gather(
    results: Iterable[FileResult],
    root: Path,
    cache: ResultCache,
    *,
    session_gap_h: float = SESSION_GAP_H,
    progress: Callable[[FileResult], None] = lambda _: None,
) -> Cohort:
    """Keep results as they come, and return what they make together, whatever their order.

    Args:
        results: As they come.
        root: The folder of the study; names count from here.
        cache: Where they are kept.
        session_gap_h: As `analysis.tidy.practice.placed` has it.
        progress: Told of each.

    Raises:
        StudyError: A worker runs other software than this process, or a recording has no date.
        OSError: A result cannot be kept.
    """
    heads: list[Head] = []
    left_out: list[LeftOut] = []
    cached = 0
    for one in results:
        name = Path(one.path).relative_to(root).as_posix()
        if one.problem:
            left_out.append(LeftOut(name, one.problem))
        else:
            _check_same_software(one)
            if not one.cached:
                cache.put(one.key, one.text)
            cached += one.cached
            heads.append(head_of(name, one.key, json.loads(one.text)))
        progress(one)
    heads, repeated = _each_once(heads)
    return Cohort(
        places=tuple(placed(heads, session_gap_h)),
        left_out=tuple(sorted([*left_out, *repeated], key=lambda one: one.name)),
        targets=tuple(sorted({head.target for head in heads})),
        cached=cached,
        cache=cache,
    )


def target_of(cohort: Cohort, name: str = "") -> Target:
    """Return a target of a cohort by its short name; of an unknown name the first recording's.

    Raises:
        StudyError: A result is gone from the cache.
    """
    first = None
    for result, _ in cohort.results():
        first = first or result["target"]
        if target_hash(result["target"]) == name:
            first = result["target"]
            break
    return target_from_json(json.dumps(first), where="a result in the cache")


def table_names(kinds: tuple[str, ...]) -> tuple[str, ...]:
    """Return the names of all files that `write_tables` writes."""
    main = (f"{table}.{kind}" for table in MAIN_TABLES for kind in kinds)
    return (*main, *(f"{table}.csv" for table in SIDE_TABLES))


def write_tables(
    cohort: Cohort,
    folder: Path,
    kinds: tuple[str, ...],
    watch: Callable[[Row], None] = lambda _: None,
    groups: Mapping[str, str] = MappingProxyType({}),
) -> None:
    """Write every table of a cohort.

    Args:
        cohort: The recordings.
        folder: Where to; tables of the same name are replaced.
        kinds: As `table_files` has it.
        watch: Shown each row of the main table.
        groups: Group of each person; else it is the kind of person.

    Raises:
        StudyError, OSError: As `table_files`.
    """
    main = repetition_columns()
    with (
        table_files(folder / "repetitions", main, kinds) as repetition,
        table_files(folder / "recordings", RECORDING_COLUMNS, kinds) as recording,
        table_files(folder / "withheld", WITHHELD_COLUMNS, kinds) as withheld,
    ):
        for result, place in cohort.results():
            group = groups.get(place.person)
            recording(_grouped(recording_row(result, place), group))
            for row in repetition_rows(result, place):
                _grouped(row, group)
                repetition(row)
                watch(row)
            for row in withheld_rows(result, place):
                withheld(row)
    tables = {"repetitions": main, "recordings": RECORDING_COLUMNS, "withheld": WITHHELD_COLUMNS}
    with table_files(folder / "dictionary", DICTIONARY_COLUMNS, ("csv",)) as append:
        for row in dictionary_rows({**tables, "left_out": LEFT_OUT_COLUMNS}):
            append(row)
    with table_files(folder / "left_out", LEFT_OUT_COLUMNS, ("csv",)) as append:
        for one in cohort.left_out:
            append({"recording": one.name, "reason": one.reason})


MAIN_TABLES = ("repetitions", "recordings", "withheld")
"""Written in every kind of file."""
SIDE_TABLES = ("dictionary", "left_out")
"""Written to be read by people."""


def _grouped(row: Row, group: str | None) -> Row:
    if group is not None:
        row["group"] = group
    return row


MAIN_TABLES = ("repetitions", "recordings", "withheld")
"""Written in every kind of file."""
SIDE_TABLES = ("dictionary", "left_out")
"""Written to be read by people."""
LEFT_OUT_COLUMNS: tuple[Column, ...] = (
    Column("recording", "text", "", "File, from the folder of the study"),
    Column("reason", "text", "", "Why it does not count"),
)


def _check_same_software(result: FileResult) -> None:
    if result.software != fingerprint():
        raise StudyError(
            f"{result.path}: was measured by another version of this program or its libraries; "
            "give every worker the same installation, then run again"
        )


def _each_once(heads: list[Head]) -> tuple[list[Head], list[LeftOut]]:
    """Return each recording once, and the copies that are left out."""
    first: dict[str, Head] = {}
    copies: list[LeftOut] = []
    for head in sorted(heads, key=lambda one: one.name):
        known = first.setdefault(head.uuid, head)
        if known is not head:
            copies.append(LeftOut(head.name, f"is the same recording as {known.name}"))
    return list(first.values()), copies
