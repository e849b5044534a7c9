"""Target maps: where each repetition's push went, seen along the target."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle
from numpy.typing import NDArray

from analysis.resolve import target_map
from analysis.target import Target
from analysis.trial import Repetition, Span, Trial
from ui.report.figures.lines import Indices, evenly, points_of_a_line, ways
from ui.report.look import ALLOWED, INK, LIMIT, QUIET, as_svg, drawing

Floats = NDArray[np.float64]

PIECES = 24
"""Of the way up and the way down each: about a third of a second at a slow pace."""
MOST_MAPS = 24
"""More would make the page heavy; the tables have all."""
ROOM_DEG = 5.0
"""Round the cone, and the step of the scale."""


def lead(trial: Trial) -> str:
    """Return how to read the maps."""
    target = trial.target
    count = len(trial.repetitions)
    first = f" Only the first {MOST_MAPS} of {count} are drawn." if count > MOST_MAPS else ""
    upward = "; in the hatched part it goes too far upward"
    if target.scapula is not None:
        upward = (
            f". The target {target.scapula.in_words}: the map turns with it, and from where on a "
            "push goes too far upward changes along the arc"
        )
    return (
        "The cross is where the push should go. Up on the map is up along the body, right is "
        "outward, away from the body, for both shoulders. Inside the circle the push is within "
        f"{target.cone_deg:g}° of the target{upward}. The "
        "solid blue line is the raise, the dashed orange one the lowering; the dot is the start, "
        "the triangle the top of the arc, the square the end. Where the push was too light to "
        f"have a direction there is no line. Thin grey: every moment, tremble and all.{first}"
    )


def draw(trial: Trial) -> list[str]:
    """Return one map for each repetition, all to one scale."""
    span = _half_width_deg(trial)
    return [_drawn(trial, repetition, span) for repetition in trial.repetitions[:MOST_MAPS]]


def _drawn(trial: Trial, repetition: Repetition, span: float) -> str:
    with drawing(3.3, 3.5) as figure:
        ax = figure.subplots()
        _ground(ax, trial.target, span)
        ax.set(xlim=(-span, span), ylim=(-span, span), aspect="equal")
        _path(ax, trial, repetition)
        ax.set(
            xlabel="← inward\u2003degrees\u2003outward →", ylabel="← down\u2003degrees\u2003up →"
        )
        ax.set_title(f"Repetition {repetition.number}")
        return as_svg(figure, f"Target map of repetition {repetition.number}")


def _ground(ax: Axes, target: Target, span: float) -> None:
    ax.add_patch(Circle((0, 0), target.cone_deg, facecolor=ALLOWED, edgecolor=LIMIT, lw=0.9))
    ax.plot(0, 0, "+", color=INK, ms=10, mew=1.4)
    if target.scapula is None:
        _too_far_up(ax, target, span)


def _too_far_up(ax: Axes, target: Target, span: float) -> None:
    limit = _limit_deg(target)
    ax.fill_between(
        limit[:, 0], limit[:, 1], 200.0, facecolor="none", edgecolor=QUIET, hatch="////", lw=0
    )
    ax.plot(limit[:, 0], limit[:, 1], color=LIMIT, lw=0.9)
    ax.text(0.98 * span, 0.97 * span, "too far upward", ha="right", va="top", color=INK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5}, zorder=1.9)  # fmt: skip


def _limit_deg(target: Target) -> Floats:
    """Return the line of equal superior angle at the limit, on the map, shape (n, 2).

    Not quite straight: the superior angle is measured from the horizontal, the map from the
    target.
    """
    superior = np.deg2rad(target.superior_limit_deg)
    azimuth = np.deg2rad(target.glide_azimuth_deg + np.linspace(-90.0, 90.0, 61))
    pushes = np.stack(
        [
            -np.cos(superior) * np.cos(azimuth),
            np.full_like(azimuth, np.sin(superior)),
            np.cos(superior) * np.sin(azimuth),
        ],
        axis=1,
    )
    return np.rad2deg(target_map(pushes, target.direction))


def _path(ax: Axes, trial: Trial, repetition: Repetition) -> None:
    drawn = []
    for _, span, _ in ways(repetition):
        every = _map_deg(trial, evenly(span, points_of_a_line(trial)))
        ax.plot(every[:, 0], every[:, 1], color=QUIET, lw=0.4, zorder=1.8)
    for _, span, style in ways(repetition):
        way = _mean_way_deg(trial, span)
        ax.plot(way[:, 0], way[:, 1], lw=1.6, **style)
        drawn.append((way[np.isfinite(way[:, 0])], style["color"]))
    (up, up_color), (down, down_color) = drawn
    if len(up):
        ax.plot(*up[0], "o", color=up_color, ms=5, mec="white")
    if len(up) and len(repetition.spans.lowering):
        ax.plot(*up[-1], "^", color=up_color, ms=6, mec="white")
    if len(down):
        ax.plot(*down[-1], "s", color=down_color, ms=5, mec="white")
    if not len(up) and not len(down):
        ax.text(0, -0.3 * ax.get_ylim()[1], "too light to tell", ha="center")


def _half_width_deg(trial: Trial) -> float:
    """Return half the width of the maps: all that was pushed, in steps of five degrees."""
    series = trial.series
    furthest = 0.0
    for repetition in trial.repetitions:
        movement = repetition.spans.movement.slice
        pushes = series.off_axis_rad[movement][series.directed[movement]]
        if len(pushes):
            furthest = max(furthest, float(np.rad2deg(np.percentile(pushes, 99.5))))
    wanted = max(furthest + 1.0, trial.target.cone_deg + ROOM_DEG)
    return min(180.0, ROOM_DEG * math.ceil(wanted / ROOM_DEG))


def _mean_way_deg(trial: Trial, span: Span) -> Floats:
    """Return the way on the map, shape (n, 2), each point the mean push of a short piece."""
    series = trial.series
    edges = np.linspace(span.start, span.stop, min(PIECES, len(span)) + 1).astype(np.int64)
    means = np.full((len(edges) - 1, 3), np.nan)
    toward = np.tile(trial.target.direction, (len(means), 1))
    for row, (start, stop) in enumerate(pairwise(edges.tolist())):
        directed = series.directed[start:stop]
        if directed.any():
            means[row] = series.force_n[start:stop][directed].mean(axis=0)
            if series.target_direction is not None:
                toward[row] = series.target_direction[start:stop][directed].mean(axis=0)
    return np.rad2deg(target_map(means, toward))


def _map_deg(trial: Trial, index: Indices) -> Floats:
    """Return pushes on the map, shape (n, 2), degrees; NaN where there is no direction."""
    series = trial.series
    toward = trial.target.directions_in(series)[index]
    points = np.rad2deg(target_map(series.force_n[index], toward))
    points[~series.directed[index]] = np.nan
    return points
