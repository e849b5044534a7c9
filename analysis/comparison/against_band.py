"""A performance against the band of a reference: where it leaves it, how far, and which way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.comparison.performance import Performance
from analysis.errors import NotComparable
from analysis.reference.arc_curves import QUANTITIES, WAYS, Quantity
from analysis.reference.model import Reference, as_array
from analysis.runs import runs_of
from analysis.trial import PhaseName

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Excursion:
    """A stretch of the arc on which the mean of a performance lies outside of the band.

    Attributes:
        way: Raise or lower.
        from_deg: Elevation of its lower end: the edge of a bin.
        to_deg: Of its upper end.
        above: On the side of greater values.
        greatest: How far beyond the edge of the band at most, ≥ 0, in the quantity's unit.
        greatest_at_deg: Where.
        u: Standard uncertainty of the quantity there; None if it has none.
        repetitions: How many repetitions leave the band on this side somewhere on the stretch.
    """

    way: PhaseName
    from_deg: float
    to_deg: float
    above: bool
    greatest: float
    greatest_at_deg: float
    u: float | None
    repetitions: int


@dataclass(frozen=True, slots=True)
class AgainstBand:
    """One quantity of a performance against its band.

    Attributes:
        quantity: Which.
        known_percent: Share of the band's arc on which the mean is known.
        known_to_deg: Highest elevation of what is known: the edge of a bin; None if nothing is.
        arc_to_deg: Likewise of the band's arc.
        inside_percent: Share of what is known, over all repetitions, that lies in the band; None
            if nothing is known.
        repetitions: How many there are.
        repetitions_inside: How many of those known over the whole arc never leave it.
        repetitions_whole: How many are known over the whole arc.
        mean_difference: Of the mean from the experts', over the arc both have; None if none.
        rms_difference: Root mean square of the same.
        excursions: Where the mean leaves the band, up first, from the start of each way.
        outside: Shape (ways, bins), where the mean is outside.
    """

    quantity: Quantity
    known_percent: float
    known_to_deg: float | None
    arc_to_deg: float
    inside_percent: float | None
    repetitions: int
    repetitions_inside: int
    repetitions_whole: int
    mean_difference: float | None
    rms_difference: float | None
    excursions: tuple[Excursion, ...]
    outside: Flags


def against_band(performance: Performance, reference: Reference) -> tuple[AgainstBand, ...]:
    """Return how a performance stands to a reference, for each quantity.

    Raises:
        NotComparable: They lie on different grids.
    """
    if not np.array_equal(performance.elevation_deg, reference.elevation_deg):
        raise NotComparable(
            "recordings and reference were analysed with different bins of elevation; make the "
            "reference again"
        )
    return tuple(
        _one(performance, reference, index, quantity) for index, quantity in enumerate(QUANTITIES)
    )


def _one(
    performance: Performance, reference: Reference, index: int, quantity: Quantity
) -> AgainstBand:
    ways = reference.bands[quantity.key].ways
    low, high, experts = (
        np.stack([as_array(getattr(ways[way], name)) for way in WAYS])
        for name in ("low", "high", "mean")
    )
    values = performance.values[:, index]
    arc, known = np.isfinite(low), np.isfinite(values)
    mean = np.where(arc, performance.mean()[index], np.nan)
    with np.errstate(invalid="ignore"):
        within = (values >= low) & (values <= high)
        beyond = np.maximum(mean - high, low - mean)
        above = np.asarray(mean > high)
    seen = known & arc
    whole: Flags = np.asarray(seen.sum(axis=(1, 2)) == arc.sum())
    difference = (mean - experts)[np.isfinite(mean)]
    outside = np.asarray(np.nan_to_num(beyond, nan=-1.0) > 0.0)
    at = performance.elevation_deg
    return AgainstBand(
        quantity=quantity,
        known_percent=float(100.0 * np.isfinite(mean).sum() / arc.sum()),
        known_to_deg=_furthest_deg(at, np.isfinite(mean)),
        arc_to_deg=_furthest_deg(at, arc) or 0.0,
        inside_percent=float(100.0 * within[seen].mean()) if seen.any() else None,
        repetitions=len(values),
        repetitions_inside=int(np.sum(whole & (within | ~arc).all(axis=(1, 2)))),
        repetitions_whole=int(whole.sum()),
        mean_difference=float(difference.mean()) if len(difference) else None,
        rms_difference=float(np.sqrt(np.mean(difference**2))) if len(difference) else None,
        excursions=tuple(
            _excursion(performance, index, row, run, beyond, bool(side), (low, high))
            for row, way in enumerate(WAYS)
            for side in (True, False)
            for run in runs_of(outside[row] & (above[row] == side))
        ),
        outside=outside,
    )


def _furthest_deg(at: Floats, known: Flags) -> float | None:
    """Return the upper edge of the highest bin known on either way, flags (ways, bins)."""
    known_at = at[known.any(axis=0)]
    return float(known_at.max() + (at[1] - at[0]) / 2.0) if len(known_at) else None


def _excursion(
    performance: Performance,
    index: int,
    row: int,
    run: tuple[int, int],
    beyond: Floats,
    above: bool,
    edges: tuple[Floats, Floats],
) -> Excursion:
    start, stop = run
    at = performance.elevation_deg
    half = (at[1] - at[0]) / 2.0
    worst = start + int(np.argmax(beyond[row, start:stop]))
    u = performance.u[:, index, row, worst]
    part = performance.values[:, index, row, start:stop]
    low, high = (edge[row, start:stop] for edge in edges)
    with np.errstate(invalid="ignore"):
        out = part > high if above else part < low
    return Excursion(
        way=WAYS[row],
        from_deg=float(at[start] - half),
        to_deg=float(at[stop - 1] + half),
        above=above,
        greatest=float(beyond[row, worst]),
        greatest_at_deg=float(at[worst]),
        u=float(np.nanmean(u)) if np.isfinite(u).any() else None,
        repetitions=int(out.any(axis=1).sum()),
    )
