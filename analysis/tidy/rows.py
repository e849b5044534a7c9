"""Tidy tables: one row for each repetition and phase, every measure a column of its exact key."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import accumulate
from typing import Any, get_type_hints

from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES, Measure
from analysis.tidy.practice import Place, practised_in, roles_of
from analysis.tidy.result import target_hash
from analysis.trial import PhaseName

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Attributes:
        name: Exact.
        kind: ``number``, ``whole``, ``text`` or ``yes_no``.
        unit: Empty if it has none.
        meaning: One sentence for the data dictionary.
    """

    name: str
    kind: str
    unit: str
    meaning: str


def _columns(*rows: tuple[str, str, str, str]) -> tuple[Column, ...]:
    return tuple(Column(*row) for row in rows)


WHO = _columns(
    ("person", "text", "", "Code of who pushed"),
    ("group", "text", "", "Group given for a study; else first letter of the code"),
    ("session", "whole", "", "Number of the person's session, from 1, in order of time"),
    ("condition", "text", "", "Condition as labelled; empty: none was given"),
    ("trial", "whole", "", "Number of the trial as labelled; 0: not numbered"),
    ("recording", "text", "", "File, from the folder of the study"),
)
FACTS = _columns(
    ("started_utc", "text", "", "When the recording began, UTC"),
    ("rig", "text", "", "Which rig"),
    ("axes", "whole", "", "Axes of the load cell"),
    ("target", "text", "", "First digits of the hash of the target measured against"),
    ("sha256", "text", "", "Hash of the recording's content"),
)
WHICH = _columns(
    ("repetition", "whole", "", "Number of the repetition in its recording, from 1"),
    ("role", "text", "", "practice, baseline, retention or transfer; set_aside: not to be counted"),
    (
        "practised",
        "whole",
        "",
        "Finished repetitions of practice the person had done by then, this one too",
    ),
)
PLAN = _columns(
    ("plan", "text", "", "Practice plan the repetition belongs to; empty: none"),
    ("block", "whole", "", "Number of the block of the plan, from 1"),
    ("block_name", "text", "", "Name of the block"),
    ("feedback", "text", "", "What the trainee was to see in the block"),
    ("picture_percent", "number", "%", "Share of the movement with the picture on"),
)
PHASE = Column("phase", "text", "", "raise, lower, or movement: both with the top")
WITHHELD_COLUMNS: tuple[Column, ...] = (
    *(column for column in WHO if column.name in ("person", "session", "recording")),
    WHICH[0],
    Column("phase", "text", "", "raise, lower, movement, or repetition: of the whole"),
    Column("measure", "text", "", "Which measure is missing"),
    Column("reason", "text", "", "Why"),
)
RECORDING_COLUMNS: tuple[Column, ...] = (
    *WHO,
    *_columns(
        ("repetitions", "whole", "", "Repetitions found, unfinished ones included"),
        ("duration_s", "number", "s", "Length of the recording"),
        ("status", "text", "", "How the recording ended"),
        ("warnings", "text", "", "Checks of data quality that failed, by key"),
        ("note", "text", "", "Note as labelled"),
        ("uuid", "text", "", "Identifier of the recording"),
    ),
    *FACTS,
)
DICTIONARY_COLUMNS = _columns(
    ("table", "text", "", "Which table"),
    ("column", "text", "", "Name of the column"),
    ("kind", "text", "", "number, whole (number), text or yes_no"),
    ("unit", "text", "", "Unit of its values; empty: none"),
    ("meaning", "text", "", "What it says"),
)


@cache
def repetition_columns() -> tuple[Column, ...]:
    """Return the columns of the main table, in order."""
    measures = (*_columns_of(REPETITION_MEASURES), *_columns_of(PHASE_MEASURES))
    return (*WHO, *WHICH, PHASE, *PLAN, *FACTS, *measures)


def repetition_rows(result: Mapping[str, Any], place: Place) -> Iterator[Row]:
    """Yield the rows of one recording.

    Args:
        result: As `analysis.tidy.result.plain_result` gives.
        place: Where the recording stands among the person's others.
    """
    names = [column.name for column in repetition_columns()]
    known = {**_who(result, place), **_facts(result)}
    roles = roles_of(result)
    practised = accumulate(practised_in(result), initial=place.practised_before)
    next(practised)
    for repetition, role, count in zip(result["repetitions"], roles, practised, strict=True):
        plan = repetition.get("practice") or {}
        whole = {**known, **{column.name: plan.get(column.name) for column in PLAN}, **repetition}
        whole.update(role=role, practised=count)
        for name in PhaseName:
            row = {**whole, **repetition["phases"][name.value], "phase": name.value}
            yield {column: row.get(column) for column in names}


def withheld_rows(result: Mapping[str, Any], place: Place) -> Iterator[Row]:
    """Yield why which measure of which repetition is missing."""
    who = _who(result, place)
    for repetition in result["repetitions"]:
        parts = {"repetition": repetition, **repetition["phases"]}
        for phase, measured in parts.items():
            for measure, reason in measured["reasons"].items():
                row = {**who, "repetition": repetition["repetition"], "phase": phase}
                row.update(measure=measure, reason=reason)
                yield {column.name: row[column.name] for column in WITHHELD_COLUMNS}


def recording_row(result: Mapping[str, Any], place: Place) -> Row:
    """Return the row of one recording."""
    facts = result["recording"]
    row = {**facts, **_who(result, place), **_facts(result)}
    row.update(repetitions=len(result["repetitions"]), warnings=" ".join(result["warnings"]))
    return {column.name: row[column.name] for column in RECORDING_COLUMNS}


def dictionary_rows(tables: Mapping[str, Iterable[Column]]) -> Iterator[Row]:
    """Yield a row of the data dictionary for each column of each table."""
    for table, columns in tables.items():
        for one in columns:
            yield {
                "table": table,
                "column": one.name,
                "kind": one.kind,
                "unit": one.unit,
                "meaning": one.meaning,
            }


def _columns_of(measures: Iterable[Measure[Any]]) -> Iterator[Column]:
    kinds = {bool: "yes_no", str: "text", int: "whole"}
    for measure in measures:
        kind = kinds.get(get_type_hints(measure.compute).get("return", float), "number")
        yield Column(measure.key, kind, measure.unit, measure.meaning)


def _who(result: Mapping[str, Any], place: Place) -> Row:
    facts = result["recording"]
    return {
        "person": facts["person"],
        "group": facts["person"][:1],
        "session": place.session,
        "condition": facts["condition"],
        "trial": facts["trial"],
        "recording": place.name,
    }


def _facts(result: Mapping[str, Any]) -> Row:
    row = {key: result["recording"][key] for key in ("started_utc", "rig", "axes", "sha256")}
    return {**row, "target": target_hash(result["target"])}
