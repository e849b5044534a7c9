"""The figures of a trial. Lines are reduced before they are drawn: files stay small."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle
from numpy.typing import NDArray

from analysis.resolve import target_map
from analysis.series import ResolvedSeries
from analysis.trial import Repetition, Span, Trial
from ui.report.look import BAND, INK, LIMIT, LOWER, QUIET, RAISE, as_svg, drawing

Floats = NDArray[np.float64]

POINTS = 240
"""Of one line of one phase: more than a page shows."""
RAISE_STYLE = {"color": RAISE, "linestyle": "-"}
LOWER_STYLE = {"color": LOWER, "linestyle": (0, (4, 1.5))}


def target_maps(trial: Trial) -> str:
    """Return one map for each repetition: where the push went, seen along the target."""
    count = max(1, len(trial.repetitions))
    columns = min(count, 3)
    rows = -(-count // columns)
    span = _map_span_deg(trial)
    width = 4.2 if columns == 1 else 3.1
    with drawing(width * columns, width * rows + 0.3) as figure:
        axes = figure.subplots(rows, columns, squeeze=False).ravel()
        for spare in axes[len(trial.repetitions) :]:
            spare.set_axis_off()
        for ax, repetition in zip(axes, trial.repetitions, strict=False):
            _target_map(ax, trial, repetition, span)
        return as_svg(figure, "Direction of the push about the target, by repetition")


def against_elevation(trial: Trial) -> str:
    """Return superior angle and force against elevation, all repetitions, with the tolerance."""
    with drawing(9.3, 3.3) as figure:
        left, right = figure.subplots(1, 2)
        _arc(left, trial, np.rad2deg(trial.series.superior_angle_rad), directed=True)
        left.axhspan(left.get_ylim()[0], trial.target.superior_limit_deg, color=BAND, zorder=0)
        left.axhline(trial.target.superior_limit_deg, color=LIMIT, lw=0.9)
        left.set(title="Superior angle (shaded: allowed)", ylabel="superior angle in °, + up")
        _arc(right, trial, trial.series.magnitude_n, directed=False)
        band = trial.target.force_band
        right.axhspan(band.low_n, band.high_n, color=BAND, zorder=0)
        right.set_ylim(bottom=0.0)
        right.set(title="Force (shaded: the band)", ylabel="force in N")
        right.legend(*_legend(right), loc="lower right", ncols=2)
        return as_svg(figure, "Superior angle and force against elevation")


def over_time(trial: Trial) -> str:
    """Return elevation and force over time, repetitions shaded."""
    series = trial.series
    with drawing(9.3, 3.6) as figure:
        top, bottom = figure.subplots(2, 1, sharex=True)
        index = _reduced(Span(0, len(series)), 1200)
        top.plot(series.time_s[index], np.rad2deg(series.elevation_rad[index]), color=INK)
        bottom.plot(series.time_s[index], series.magnitude_n[index], color=INK)
        band = trial.target.force_band
        bottom.axhspan(band.low_n, band.high_n, color=BAND, zorder=0)
        last = len(series) - 1
        for repetition in trial.repetitions:
            movement = repetition.spans.movement
            start, stop = series.time_s[movement.start], series.time_s[min(movement.stop, last)]
            for ax in (top, bottom):
                ax.axvspan(start, stop, color=QUIET, alpha=0.15, lw=0)
            top.text(start, 168.0, f" {repetition.number}", va="top", weight="bold")
        top.set(ylabel="elevation in °", ylim=(-5, 170), title="Over time (grey: the movements)")
        bottom.set(ylabel="force in N", xlabel="time in s")
        bottom.set_ylim(bottom=0.0)
        return as_svg(figure, "Elevation and force over time")


def _target_map(ax: Axes, trial: Trial, repetition: Repetition, span: float) -> None:
    series, target = trial.series, trial.target
    ax.add_patch(Circle((0, 0), target.cone_deg, facecolor=BAND, edgecolor=LIMIT, lw=0.9))
    # Superior angle is measured from the horizontal, the map from the target, tilted downward.
    limit = target.superior_limit_deg + target.inferior_tilt_deg
    ax.axhspan(limit, span, facecolor="none", edgecolor=QUIET, hatch="////", lw=0, alpha=0.35)
    ax.axhline(limit, color=LIMIT, lw=0.9)
    ax.plot(0, 0, "+", color=INK, ms=9)
    spans = repetition.spans
    phases = ((spans.raising, RAISE_STYLE), (spans.lowering, LOWER_STYLE))
    for part, style in phases:
        points = _map_deg(series, trial, part)
        ax.plot(points[:, 0], points[:, 1], lw=0.9, **style)
    start = _map_deg(series, trial, spans.raising)
    known = np.flatnonzero(np.isfinite(start[:, 0]))
    if len(known):
        ax.plot(*start[known[0]], "o", color=RAISE, ms=5)
    ax.set(xlim=(-span, span), ylim=(-span, span), aspect="equal")
    ax.set(xlabel="medial ← ° → lateral", ylabel="inferior ← ° → superior")
    ax.set_title(f"Repetition {repetition.number}")


def _map_span_deg(trial: Trial) -> float:
    """Return half the width of the maps: all that was pushed, in steps of five degrees."""
    used = trial.series.directed
    furthest = 0.0
    if used.any():
        furthest = float(np.rad2deg(np.nanpercentile(trial.series.off_axis_rad[used], 99)))
    wanted = max(furthest, trial.target.cone_deg + 5.0)
    return min(90.0, 5.0 * math.ceil(wanted / 5.0))


def _map_deg(series: ResolvedSeries, trial: Trial, span: Span) -> Floats:
    index = _reduced(span, POINTS)
    points = np.rad2deg(target_map(series.force_n[index], trial.target.direction))
    points[~series.directed[index]] = np.nan
    return points


def _arc(ax: Axes, trial: Trial, values: Floats, *, directed: bool) -> None:
    series = trial.series
    shown = np.where(series.directed, values, np.nan) if directed else values
    for repetition in trial.repetitions:
        parts = (
            (repetition.spans.raising, RAISE_STYLE, "raise"),
            (repetition.spans.lowering, LOWER_STYLE, "lower"),
        )
        for span, style, name in parts:
            index = _reduced(span, POINTS)
            ax.plot(np.rad2deg(series.elevation_rad[index]), shown[index], label=name, **style)
    ax.set(xlabel="elevation in °", xlim=(0, None))


def _legend(ax: Axes) -> tuple[list[object], list[str]]:
    """Return each name once."""
    handles, labels = ax.get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))
    return list(once.values()), list(once)


def _reduced(span: Span, points: int) -> NDArray[np.int64]:
    """Return at most *points* sample numbers, evenly over a span.

    The series is low-passed far below the rate that is left, so nothing is lost by it.
    """
    if len(span) == 0:
        return np.zeros(0, dtype=np.int64)
    wanted = min(points, len(span))
    return np.unique(np.linspace(span.start, span.stop - 1, wanted).astype(np.int64))
