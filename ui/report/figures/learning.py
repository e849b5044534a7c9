"""Small multiples: one person each, a measure over the repetitions practised."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.study.findings import MeasureFindings
from analysis.study.learning import Learning
from analysis.study.sample import Done
from analysis.study.variance import Component
from analysis.tidy.practice import BASELINE, PRACTICE, RETENTION, TRANSFER
from ui.report.look import ALLOWED, INK, LIMIT, LOWER, QUIET, RAISE, as_svg, drawing

MARKS = {
    BASELINE: ("^", LOWER, "baseline"),
    PRACTICE: (".", QUIET, "practice"),
    RETENTION: ("s", RAISE, "retention"),
    TRANSFER: ("D", INK, "transfer"),
}
"""Marker, colour and name of each role."""
COLUMNS = 4
TILE_IN = (2.35, 1.75)
MOST_PEOPLE = 40
PARTS = ((RAISE, ""), (LOWER, "///"), (QUIET, "..."))


def small_multiples(
    found: MeasureFindings, done: Sequence[Done], label: str, allowed: tuple[float, float] | None
) -> str:
    """Return a measure of every person over practice as one SVG element.

    Args:
        found: What was found of the measure.
        done: Every repetition.
        label: Of the vertical axis, with unit.
        allowed: What the target allows of it, low and high; None if it says nothing.
    """
    people = found.learning[:MOST_PEOPLE]
    rows = -(-len(people) // COLUMNS)
    with drawing(COLUMNS * TILE_IN[0], rows * TILE_IN[1] + 0.4) as figure:
        axes = figure.subplots(rows, COLUMNS, sharex=True, sharey=True, squeeze=False)
        for ax, one in zip(axes.flat, people, strict=False):
            _tile(ax, found.key, one, [two for two in done if two.person == one.person], allowed)
        for ax in list(axes.flat)[len(people) :]:
            ax.set_visible(False)
        figure.supxlabel("repetitions practised")
        figure.supylabel(label)
        _legend(figure)
        return as_svg(figure, f"{label} of each person over practice")


def _tile(
    ax: Axes, key: str, one: Learning, own: Sequence[Done], allowed: tuple[float, float] | None
) -> None:
    if allowed is not None:
        ax.axhspan(*allowed, color=ALLOWED, lw=0, zorder=0)
    for role, (marker, colour, _) in MARKS.items():
        values = [(two.practised, two.values[key]) for two in own if two.role == role]
        if values:
            x, y = np.array(values).T
            ax.plot(x, y, marker, color=colour, ms=3.6 if marker == "." else 4.2, mec="none")
    if one.curve is not None:
        if len(one.curve.low):
            ax.fill_between(
                one.curve.at, one.curve.low, one.curve.high, color=RAISE, alpha=0.18, lw=0
            )
        ax.plot(one.curve.at, one.curve.value, color=RAISE, lw=1.3)
    ax.set_title(one.person)


def _legend(figure: Figure) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], marker=marker, color=colour, ls="", label=name)
        for marker, colour, name in MARKS.values()
    ]
    handles.append(Line2D([], [], color=RAISE, label="learning curve, 95 %"))
    figure.legend(handles=handles, loc="outside upper right", ncols=5)


def shares(rows: Sequence[tuple[str, Sequence[tuple[Component, float]]]]) -> str:
    """Return how the variance of each measure divides, as stacked bars.

    Args:
        rows: Name of a measure, and its components with their shares in per cent.
    """
    with drawing(9.4, 0.36 * len(rows) + 1.0) as figure:
        ax = figure.subplots()
        named: set[str] = set()
        for place, (_, parts) in enumerate(rows):
            left = 0.0
            for (part, share), (colour, hatch) in zip(parts, _styles(parts), strict=True):
                label = None if part.name in named else f"between {PLURALS[part.name]}"
                named.add(part.name)
                ax.barh(place, share, left=left, color=colour, hatch=hatch, edgecolor="white",
                        lw=0.5, label=label)  # fmt: skip
                left += share
        ax.set_yticks(range(len(rows)), [name for name, _ in rows])
        ax.invert_yaxis()
        ax.set(xlim=(0.0, 100.0), xlabel="share of the variance in %")
        ax.axvline(50.0, color=LIMIT, lw=0.6, ls=":")
        figure.legend(loc="outside upper right", ncols=3)
        return as_svg(figure, "Where the variability lies")


PLURALS = {"person": "people", "session": "sessions of a person", "repetition": "repetitions"}


def _styles(parts: Sequence[tuple[Component, float]]) -> list[tuple[str, str]]:
    """Return colour and hatch of each part: the same part always looks the same."""
    names = list(PLURALS)
    return [PARTS[names.index(part.name)] for part, _ in parts]
