"""Differences of two methods against their mean (Bland & Altman 1986), a measure each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from analysis.comparison.bland_altman import Agreement
from analysis.comparison.effect_sizes import Interval
from analysis.comparison.methods import MeasureAgreement
from ui.agreed import has_no_scatter, has_trend
from ui.measure_words import NAMED
from ui.report.look import INK, LIMIT, LOWER, QUIET, RAISE, as_svg, drawing

Floats = NDArray[np.float64]

SIZE_IN = (4.6, 3.0)
ROOM = 1.35
"""The picture reaches so many times as far as its points and intervals do."""
BAR_APART, BAR_END = 0.025, 0.008
"""Where the intervals stand, and half as wide their ends are: shares of the width."""


def agreement_figure(one: MeasureAgreement) -> str:
    """Return a measure's differences, bias and limits with their intervals as an SVG element."""
    label, unit, _ = NAMED[one.key]
    first, second = np.array(one.points, dtype=np.float64).reshape(-1, 2).T
    mean, apart = (first + second) / 2.0, second - first
    with drawing(*SIZE_IN) as figure:
        ax = figure.subplots()
        if one.agreement is not None and not has_no_scatter(one):
            _limits(ax, one.agreement)
            if has_trend(one):
                _trend(ax, one.agreement, mean, apart)
        ax.axhline(0.0, color=QUIET, lw=0.8, ls=(0, (1, 2)), zorder=1)
        ax.plot(mean, apart, "o", color=RAISE, ms=4.0, mec="white", mew=0.5, zorder=4)
        within = f" in {unit}" if unit else ""
        ax.set(title=label, xlabel=f"mean of both{within}", ylabel=f"second − first{within}")
        ax.ticklabel_format(useOffset=False)
        _room(ax, one.agreement, mean, apart)
        return as_svg(figure, f"{label}: differences of two methods against their mean")


def _limits(ax: Axes, found: Agreement) -> None:
    rows = ((found.upper, "upper limit"), (found.bias, "bias"), (found.lower, "lower limit"))
    for place, (limit, name) in enumerate(rows, 1):
        colour, dashes = (INK, "-") if name == "bias" else (LIMIT, (0, (4, 2)))
        ax.axhline(limit.value, color=colour, lw=1.2, ls=dashes, zorder=2)
        ax.annotate(
            name, (1.0, limit.value), xycoords=("axes fraction", "data"), xytext=(0, 2),
            textcoords="offset points", ha="right", va="bottom", fontsize=7.5,
        )  # fmt: skip
        _bar(ax, BAR_APART * place, limit, colour)


def _bar(ax: Axes, place: float, one: Interval, colour: str) -> None:
    """Draw an interval beside the others, as they may reach into each other."""
    style: Any = {"color": colour, "lw": 1.2, "zorder": 3, "transform": ax.get_yaxis_transform()}
    ax.plot([place, place], [one.low, one.high], **style)
    for end in (one.low, one.high):
        ax.plot([place - BAR_END, place + BAR_END], [end, end], **style)


def _trend(ax: Axes, found: Agreement, mean: Floats, apart: Floats) -> None:
    assert found.trend is not None
    ends = np.array([mean.min(), mean.max()])
    line = apart.mean() + found.trend.slope.value * (ends - mean.mean())
    ax.plot(ends, line, color=LOWER, lw=1.4, ls=(0, (6, 1.5, 1, 1.5)), zorder=3)
    ax.annotate(
        "trend", (ends[1], line[1]), xytext=(5, 0), textcoords="offset points", color=LOWER,
        fontsize=7.5, va="center",
    )  # fmt: skip


def _room(
    ax: Axes, found: Agreement | None, mean: Floats, apart: Floats, least: float = 0.1
) -> None:
    """Leave room to either side, also where all values are the same."""
    ends: Sequence[float] = [0.0, *apart.tolist()]
    if found is not None:
        ends = [*ends, found.lower.low, found.upper.high]
    for low, high, bound in (
        (min(ends), max(ends), ax.set_ylim),
        (float(mean.min(initial=np.inf)), float(mean.max(initial=-np.inf)), ax.set_xlim),
    ):
        if np.isfinite([low, high]).all():
            half = max(high - low, least) / 2.0 * ROOM
            bound((low + high) / 2.0 - half, (low + high) / 2.0 + half)
