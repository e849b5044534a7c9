"""A comparison at a terminal: sentences, then numbers."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.comparison.change import Changes
from analysis.comparison.comparison import Comparison
from ui.changed import change_in_words, change_values, changes_note
from ui.cli.tables import titled
from ui.compared import experts_in_words, sentences
from ui.measure_words import compared_decimals, measure_name
from ui.numbers import shown


def comparison_tables(comparison: Comparison) -> list[RenderableType]:
    """Return what was found, in words first."""
    said = [Text(f"• {sentence}") for sentence in sentences(comparison)]
    title = Text(comparison.after.label, style="bold")
    return [Group(title, *said), *_tables(comparison)]


def _tables(comparison: Comparison) -> Iterator[RenderableType]:
    if comparison.measures:
        yield _beside(comparison)
    if comparison.changes and comparison.changes.basis:
        yield Group(_changes(comparison.changes), Text(changes_note(comparison.changes)))


def _beside(comparison: Comparison) -> Table:
    table = titled("beside the experts")
    for name in ("own", "experts", "where it lies (95 % interval)"):
        table.add_column(name, justify="right")
    for one in comparison.measures or ():
        decimals = compared_decimals(one.key)
        experts = shown(one.experts_mean, decimals)
        own = shown(one.mean, decimals)
        table.add_row(measure_name(one.key), own, experts, experts_in_words(one))
    return table


def _changes(changes: Changes) -> Table:
    table = titled("after beside before")
    for name in ("before", "after", "difference (95 % interval)", "p"):
        table.add_column(name, justify="right")
    for one in changes.measures:
        # Why there is no difference stands among the sentences.
        difference, _, p = change_in_words(one) if one.found else ("—", "", "")
        table.add_row(measure_name(one.key), *change_values(one), difference, p)
    return table
