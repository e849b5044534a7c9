"""Bands of a reference over the arc, and what is laid on them: the raise, then the lowering."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from analysis.reference.arc_curves import QUANTITIES, WAYS, Quantity
from analysis.reference.model import Reference, as_array
from analysis.trial import PhaseName
from ui.report.look import ALLOWED, INK, LIMIT, LOWER, QUIET, RAISE, as_svg, drawing

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LINES = ((RAISE, "-", "o"), (LOWER, (0, (4, 1.5)), "s"))
"""Colour, dashes and marker of the first and the second set that is laid on a band."""
ROOM_DEG = 5.0


@dataclass(frozen=True, slots=True)
class Laid:
    """Repetitions of one set, laid on a band.

    Attributes:
        label: For the legend.
        curves: Shape (repetitions, ways, bins).
        mean: Shape (ways, bins).
        outside: Shape (ways, bins), where the mean lies outside of the band.
    """

    label: str
    curves: Floats
    mean: Floats
    outside: Flags | None = field(default=None)


def reference_picture(reference: Reference) -> str:
    """Return the bands of a reference as one SVG drawing that stands alone."""
    with drawing(9.4, 10.6) as figure:
        rows = figure.subplots(len(QUANTITIES), len(WAYS), sharey="row", sharex="col")
        for axes, quantity in zip(rows, QUANTITIES, strict=True):
            _band(axes, reference, quantity, experts=True)
            too_wide = reference.bands[quantity.key].too_wide
            means = [as_array(band.mean) for band in reference.bands[quantity.key].ways.values()]
            _frame(
                axes, quantity, _furthest_deg(np.array(reference.elevation_deg), means), too_wide
            )
        for ax in rows[:-1].flat:
            ax.set_xlabel("")
        _legend(figure, rows[0, 0])
        codes = ", ".join(expert.code for expert in reference.experts)
        figure.suptitle(f"Reference of {codes}", x=0.01, ha="left", fontweight="bold")
        return as_svg(figure, f"Reference of {codes}: bands over the arc")


def quantity_figure(
    elevation_deg: Floats, quantity: Quantity, laid: Sequence[Laid], reference: Reference | None
) -> str:
    """Return one quantity over the arc as an SVG element.

    Args:
        elevation_deg: Middles of the bins.
        quantity: Which.
        laid: One or two sets.
        reference: The band below them, None for none.
    """
    with drawing(9.4, 3.3) as figure:
        axes = figure.subplots(1, len(WAYS), sharey="row")
        too_wide = reference is not None and reference.bands[quantity.key].too_wide
        if reference is not None:
            _band(axes, reference, quantity, experts=False)
        for one, style in zip(laid, LINES, strict=False):
            _lay(axes, elevation_deg, one, style)
        arcs = [one.mean for one in laid]
        if reference is not None:  # all of the band, so that it is seen where nothing lies on it
            arcs += [as_array(way.mean) for way in reference.bands[quantity.key].ways.values()]
        furthest_deg = _furthest_deg(elevation_deg, arcs)
        _frame(axes, quantity, furthest_deg, too_wide)
        _legend(figure, axes[0])
        return as_svg(figure, f"{quantity.label} over the arc")


def _band(axes: Sequence[Axes], reference: Reference, quantity: Quantity, *, experts: bool) -> None:
    at = np.array(reference.elevation_deg)
    for way, ax in zip(WAYS, axes, strict=True):
        band = reference.bands[quantity.key].ways[way]
        low, high, mean = map(as_array, (band.low, band.high, band.mean))
        label = f"band of {reference.settings.level * 100:g} %"
        ax.fill_between(at, low, high, color=ALLOWED, lw=0, label=label)
        for edge in (low, high):
            ax.plot(at, edge, color=LIMIT, lw=0.7)
        for expert in reference.experts if experts else ():
            own = as_array(expert.mean[quantity.key][way])
            name = "each expert" if expert is reference.experts[0] else None
            ax.plot(at, own, color=QUIET, lw=0.7, label=name)
        ax.plot(at, mean, color=INK, lw=1.4, ls=(0, (1, 1)), label="mean of the experts")


def _lay(axes: Sequence[Axes], at: Floats, one: Laid, style: tuple[str, object, str]) -> None:
    colour, dashes, marker = style
    for index, ax in enumerate(axes):
        for curve in one.curves[:, index]:
            ax.plot(at, curve, color=colour, lw=0.4, alpha=0.55)
        ax.plot(at, one.mean[index], color=colour, lw=1.8, ls=dashes, label=one.label)
        if one.outside is not None and one.outside[index].any():
            out = one.outside[index]
            ax.plot(
                at[out], one.mean[index][out], marker, color=colour, ms=5, mec="white",
                label=f"{one.label}: outside",
            )  # fmt: skip


def _frame(axes: Sequence[Axes], quantity: Quantity, furthest_deg: float, too_wide: bool) -> None:
    doubt = " (band too wide to judge by)" if too_wide else ""
    for way, ax in zip(WAYS, axes, strict=True):
        ax.set(title=f"{quantity.label}: {way.value}{doubt}", xlabel="elevation of the arm in °")
        # The way down is read from the top, so that time runs to the right in both.
        span = (0.0, furthest_deg + ROOM_DEG)
        ax.set_xlim(span if way is PhaseName.RAISE else span[::-1])
    axes[0].set_ylabel(f"{quantity.label} in {quantity.unit}")


def _furthest_deg(at: Floats, curves: Sequence[Floats]) -> float:
    """Return the highest elevation that any of some curves (…, bins) has."""
    known = [np.isfinite(one).reshape(-1, len(at)).any(axis=0) for one in curves]
    return float(at[np.any(known, axis=0)].max(initial=0.0))


def _legend(figure: Figure, ax: Axes) -> None:
    handles, labels = ax.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=6)
