"""Superior angle and force against elevation, with the tolerance drawn."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from analysis.target import Target
from analysis.trial import Trial
from ui.report.figures.lines import extremes, points_of_a_line, ways
from ui.report.look import ALLOWED, INK, LIMIT, as_svg, drawing

Floats = NDArray[np.float64]

ANGLE_ROOM_DEG = 4.0


def lead(trial: Trial) -> str:
    """Return how to read the figures."""
    return (
        "How high the arm was, and what the push did there. A push that keeps its direction "
        "gives level lines; a line that climbs is a hand that rides up with the arm. Solid blue "
        "is the raise, dashed orange the lowering; shaded is what the target allows: at most "
        f"{trial.target.superior_limit_deg:+g}° upward, and a force of "
        f"{trial.target.force_band.low_n:g} to {trial.target.force_band.high_n:g} N."
    )


def draw(trial: Trial) -> list[str]:
    """Return the two figures; none if there is no repetition."""
    return [_superior(trial), _force(trial)] if trial.repetitions else []


def _superior(trial: Trial) -> str:
    series, target = trial.series, trial.target
    angle = np.where(series.directed, np.rad2deg(series.superior_angle_rad), np.nan)
    with drawing(4.6, 3.4) as figure:
        ax = figure.subplots()
        _lines(ax, trial, angle)
        low, high = ax.get_ylim() if ax.has_data() else (0.0, 0.0)
        limit = target.superior_limit_deg
        low = min(low, _target(ax, target) - ANGLE_ROOM_DEG)
        ax.set_ylim(low, max(high, limit + ANGLE_ROOM_DEG))
        ax.axhspan(low, limit, color=ALLOWED, lw=0, zorder=0)
        ax.axhline(limit, color=LIMIT, lw=0.9, zorder=1)
        _name(ax, limit, "limit")
        ax.set(title="Upward angle of the push", ylabel="superior angle in °, + is upward")
        return as_svg(figure, "Superior angle against elevation")


def _target(ax: Axes, target: Target) -> float:
    """Draw the superior angle of the target, up and down if it moves; return where it is lowest."""
    if target.scapula is None:
        ax.axhline(-target.inferior_tilt_deg, color=LIMIT, lw=0.9, ls=":", zorder=1)
        _name(ax, -target.inferior_tilt_deg, "target")
        return -target.inferior_tilt_deg
    elevation_deg = np.linspace(0.0, ax.get_xlim()[1], 40)
    superior_deg = np.zeros((2, len(elevation_deg)))
    for lowering in (0, 1):
        share = np.full(len(elevation_deg), float(lowering))
        x, y, z = target.directions(np.deg2rad(elevation_deg), share).T
        superior_deg[lowering] = np.rad2deg(np.arctan2(y, np.hypot(x, z)))
        ax.plot(elevation_deg, superior_deg[lowering], color=LIMIT, lw=0.9, ls=":", zorder=1)
    ax.set_xlim(0.0, elevation_deg[-1])
    _name(ax, float(superior_deg[0, -1]), "target")
    return float(superior_deg.min())


def _force(trial: Trial) -> str:
    band = trial.target.force_band
    with drawing(4.6, 3.4) as figure:
        ax = figure.subplots()
        _lines(ax, trial, trial.series.magnitude_n)
        ax.axhspan(band.low_n, band.high_n, color=ALLOWED, lw=0, zorder=0)
        for edge in (band.low_n, band.high_n):
            ax.axhline(edge, color=LIMIT, lw=0.9, zorder=1)
        _name(ax, band.low_n, "least")
        _name(ax, band.high_n, "most")
        ax.set_ylim(0.0, max(ax.get_ylim()[1], 1.15 * band.high_n))
        ax.set(title="Force of the push", ylabel="force in N")
        return as_svg(figure, "Force against elevation")


def _lines(ax: Axes, trial: Trial, values: Floats) -> None:
    elevation = np.rad2deg(trial.series.elevation_rad)
    points = points_of_a_line(trial)
    for repetition in trial.repetitions:
        for name, span, style in ways(repetition):
            index = extremes(values, span, points)
            # Named once, for the legend.
            label = name if repetition is trial.repetitions[0] else None
            ax.plot(elevation[index], values[index], lw=0.9, label=label, **style)
    ax.set(xlabel="elevation of the arm in °", xlim=(0.0, None))
    ax.legend(loc="upper left", ncols=2)


def _name(ax: Axes, height: float, text: str) -> None:
    ax.annotate(
        text, (1.0, height), xycoords=("axes fraction", "data"), xytext=(3, 0),
        textcoords="offset points", va="center", ha="left", color=INK, annotation_clip=False,
    )  # fmt: skip
