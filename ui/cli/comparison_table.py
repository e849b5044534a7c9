"""A comparison at a terminal: sentences, then numbers."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.comparison.comparison import Comparison
from ui.cli.tables import titled
from ui.compared import NAMED, change_in_words, experts_in_words, measure_name, sentences
from ui.numbers import shown


def comparison_tables(comparison: Comparison) -> list[RenderableType]:
    """Return what was found, in words first."""
    said = [Text(f"• {sentence}") for sentence in sentences(comparison)]
    title = Text(comparison.after.label, style="bold")
    return [Group(title, *said), *_tables(comparison)]


def _tables(comparison: Comparison) -> Iterator[RenderableType]:
    if comparison.measures:
        yield _beside(comparison)
    if comparison.changes:
        yield _changes(comparison)


def _beside(comparison: Comparison) -> Table:
    table = titled("beside the experts")
    for name in ("own", "experts", "where it lies (95 % interval)"):
        table.add_column(name, justify="right")
    for one in comparison.measures or ():
        decimals = NAMED[one.key][2]
        experts = shown(one.experts_mean, decimals)
        own = shown(one.mean, decimals)
        table.add_row(measure_name(one.key), own, experts, experts_in_words(one))
    return table


def _changes(comparison: Comparison) -> Table:
    table = titled("after beside before")
    for name in ("before", "after", "difference (95 % interval)"):
        table.add_column(name, justify="right")
    for one in comparison.changes or ():
        decimals = NAMED[one.key][2]
        values = (shown(value, decimals) for value in (one.before, one.after))
        table.add_row(measure_name(one.key), *values, change_in_words(one)[0])
    return table
