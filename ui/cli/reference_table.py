"""A reference as a table for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.reference.arc_curves import QUANTITIES, WAYS, Quantity
from analysis.reference.model import Reference, WayBand, as_array
from ui.cli.tables import titled
from ui.numbers import shown

Floats = NDArray[np.float64]

SUGGESTED_REPETITIONS = 10


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
    """Return what else to know: what was left out, and what would make it better."""
    lines = [
        f"left out: repetition {one.repetition} of {recording.file}: {one.reason}"
        for recording in reference.recordings
        for one in recording.left_out
    ]
    few = [one.code for one in reference.experts if one.repetitions < SUGGESTED_REPETITIONS]
    if few:
        lines.append(
            f"better: {SUGGESTED_REPETITIONS} repetitions of each expert, on two occasions "
            f"({', '.join(few)} {'has' if len(few) == 1 else 'have'} fewer)"
        )
    return lines


def _numbers(reference: Reference) -> Table:
    table = titled(f"both ways over the arc ({_arc(reference)}), lowest to highest")
    for name in ("mean", "SD within", "SD between", "half band", "factor"):
        table.add_column(name, justify="right", no_wrap=True)
    for quantity in QUANTITIES:
        band = reference.bands[quantity.key]
        name = f"{quantity.label} {quantity.unit}"
        table.add_row(name, *_row(list(band.ways.values()), quantity), f"{band.factor:.2f}")
    return table


def _arc(reference: Reference) -> str:
    at = np.array(reference.elevation_deg)
    ways = reference.bands[QUANTITIES[0].key].ways
    spans = [_span(at[np.isfinite(as_array(ways[way].mean))], 0) for way in WAYS]
    same = spans[0] == spans[1]
    return f"{spans[0]}°" if same else f"raise {spans[0]}°, lower {spans[1]}°"


def _row(ways: Sequence[WayBand], quantity: Quantity) -> list[str]:
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
