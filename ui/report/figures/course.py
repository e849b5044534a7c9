"""Elevation and force over time, with the phases."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from analysis.trial import Span, Trial
from ui.report.figures.lines import extremes
from ui.report.look import ALLOWED, INK, LIMIT, QUIET, as_svg, drawing

POINTS = 1600
PHASES: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("set-up", "setup", {"facecolor": "#ffffff", "hatch": "...."}),
    ("raise", "raising", {"facecolor": "#cfe0f3", "hatch": "////"}),
    ("top", "top", {"facecolor": "#e4e7ea", "hatch": ""}),
    ("lower", "lowering", {"facecolor": "#f8dcc2", "hatch": "\\\\\\\\"}),
    ("release", "release", {"facecolor": "#ffffff", "hatch": "----"}),
)
"""Name, field of the spans, and look: each has a hatch of its own, so colour says nothing alone."""


def lead(trial: Trial) -> str:
    """Return how to read the figure."""
    if not trial.repetitions:
        return "The whole recording: how high the arm was, and how hard the push."
    return (
        "The whole recording. The push should be there before the arm leaves home and stay until "
        "it is home again; the strip at the top names the phases."
    )


def draw(trial: Trial) -> list[str]:
    """Return the figure."""
    with drawing(9.4, 4.0) as figure:
        strip, top, bottom = figure.subplots(
            3, 1, sharex=True, gridspec_kw={"height_ratios": [0.16, 1, 1]}
        )
        _phases(strip, trial)
        _elevation(top, trial)
        _force(bottom, trial)
        if trial.repetitions:
            handles = [Patch(edgecolor=QUIET, label=name, **look) for name, _, look in PHASES]
            figure.legend(handles=handles, loc="outside upper right", ncols=len(handles))
        return [as_svg(figure, "Elevation and force over time, with the phases")]


def _phases(ax: Axes, trial: Trial) -> None:
    ax.set_axis_off()
    ax.set_ylim(0, 1)
    for repetition in trial.repetitions:
        for _, field, look in PHASES:
            span: Span = getattr(repetition.spans, field)
            if len(span):
                ax.axvspan(*_seconds(trial, span), edgecolor=QUIET, lw=0.6, **look)


def _elevation(ax: Axes, trial: Trial) -> None:
    series = trial.series
    elevation = np.rad2deg(series.elevation_rad)
    index = extremes(elevation, Span(0, len(series)), POINTS)
    ax.plot(series.time_s[index], elevation[index], color=INK, lw=1.0)
    for repetition in trial.repetitions:
        middle = np.mean(_seconds(trial, repetition.spans.movement))
        ax.text(float(middle), 8.0, f"repetition {repetition.number}", ha="center", va="bottom")
    ax.set_ylim(-5.0, max(100.0, ax.get_ylim()[1]))
    ax.set(ylabel="elevation in °")
    _bounds(ax, trial)


def _force(ax: Axes, trial: Trial) -> None:
    series, band = trial.series, trial.target.force_band
    index = extremes(series.magnitude_n, Span(0, len(series)), POINTS)
    ax.axhspan(band.low_n, band.high_n, color=ALLOWED, lw=0, zorder=0)
    ax.plot(series.time_s[index], series.magnitude_n[index], color=INK, lw=1.0)
    ax.set_ylim(0.0, max(1.15 * band.high_n, ax.get_ylim()[1]))
    ax.set(ylabel="force in N", xlabel="time in s", xlim=(0.0, float(series.time_s[-1])))
    _bounds(ax, trial)


def _bounds(ax: Axes, trial: Trial) -> None:
    """Draw where each movement begins and ends."""
    for repetition in trial.repetitions:
        for moment in _seconds(trial, repetition.spans.movement):
            ax.axvline(moment, color=LIMIT, lw=0.7, ls=":")


def _seconds(trial: Trial, span: Span) -> tuple[float, float]:
    times = trial.series.time_s
    last = len(times) - 1
    return float(times[min(span.start, last)]), float(times[min(span.stop, last)])
