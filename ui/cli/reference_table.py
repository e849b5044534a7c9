"""A reference as a table for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.reference.arc_curves import QUANTITIES, WAYS, Quantity
from analysis.reference.model import Reference, WayBand, as_array
from ui.banded import doubts
from ui.cli.tables import titled
from ui.numbers import count_of, shown

Floats = NDArray[np.float64]

SUGGESTED_REPETITIONS = 10
ROWS = ("mean", "SD within", "SD between", "half band", "factor")


def reference_table(reference: Reference) -> RenderableType:
    """Return what a reference holds, and what its band means, in words."""
    experts = ", ".join(f"{one.code} ×{one.repetitions}" for one in reference.experts)
    return Group(
        Text(f"reference of {experts}", style="bold"),
        Text(reference.meaning),
        Text(),
        _numbers(reference),
        *(Text(line) for line in remarks(reference)),
    )


def remarks(reference: Reference) -> list[str]:
    """Return what else to know: what to doubt, what was left out, what would help."""
    lines = [*doubts(reference)]
    lines += [
        f"left out: repetition {one.repetition} of {recording.file}: {one.reason}"
        for recording in reference.recordings
        for one in recording.left_out
    ]
    lines += _pooled(reference)
    few = [one.code for one in reference.experts if one.repetitions < SUGGESTED_REPETITIONS]
    if few:
        lines.append(
            f"better: {SUGGESTED_REPETITIONS} repetitions of each expert, on two occasions "
            f"({', '.join(few)} {'has' if len(few) == 1 else 'have'} fewer)"
        )
    return lines


def _pooled(reference: Reference) -> Iterator[str]:
    """Yield whose sessions are put together."""
    for expert in reference.experts:
        own = [one for one in reference.recordings if one.person == expert.code]
        if len(own) > 1:
            yield (
                f"pooled: {expert.code}, {count_of(expert.repetitions, 'repetition')} of "
                f"{len(own)} recordings: what differs between them is part of the SD within"
            )


def _numbers(reference: Reference) -> Table:
    table = titled(f"both ways over the arc ({_arc(reference)}), lowest to highest")
    columns = []
    for quantity in QUANTITIES:
        table.add_column(f"{quantity.label}\n{quantity.unit}", justify="right", no_wrap=True)
        band = reference.bands[quantity.key]
        columns.append([*_spans(list(band.ways.values()), quantity), f"{band.factor:.2f}"])
    for name, *cells in zip(ROWS, *columns, strict=True):
        table.add_row(name, *cells)
    return table


def _arc(reference: Reference) -> str:
    at = np.array(reference.elevation_deg)
    ways = reference.bands[QUANTITIES[0].key].ways
    spans = [_span(at[np.isfinite(as_array(ways[way].mean))], 0) for way in WAYS]
    same = spans[0] == spans[1]
    return f"{spans[0]}°" if same else f"raise {spans[0]}°, lower {spans[1]}°"


def _spans(ways: Sequence[WayBand], quantity: Quantity) -> list[str]:
    mean, within, between, low, high = (
        np.concatenate([as_array(getattr(way, name)) for way in ways])
        for name in WayBand.__struct_fields__
    )
    return [
        _span(values, quantity.decimals) for values in (mean, within, between, (high - low) / 2.0)
    ]


def _span(values: Floats, decimals: int) -> str:
    """Return the least and the greatest of the known values."""
    known = values[np.isfinite(values)]
    if not len(known):
        return "—"
    low, high = (shown(float(one), decimals) for one in (known.min(), known.max()))
    return low if low == high else f"{low} to {high}"
