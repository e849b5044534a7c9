"""How far off the target along the arc, with its uncertainty, and how much each bin rests on."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from analysis.criteria import COVERAGE_FACTOR
from analysis.profile import ArcProfile, Profile, profiles_of
from analysis.trial import Trial
from ui.report.figures.lines import LOWER_STYLE, RAISE_STYLE
from ui.report.look import ALLOWED, LIMIT, as_svg, drawing

Floats = NDArray[np.float64]

MOST_WITH_UNCERTAINTY = 4
"""More bands on each other would hide the lines; the uncertainty is much the same in all."""
LEAST_S = 0.1
"""Less time in a bin is not drawn: at 10 Hz it is one independent value."""


def lead(trial: Trial) -> str:
    """Return how to read the figures."""
    width = trial.settings["measures"]["profile_bin_deg"]
    return (
        f"The arc in steps of {width:g}°: on the left how far the mean push of each step went off "
        "the target, one line for each repetition, solid blue the raise and dashed orange the "
        "lowering; shaded about a line is twice its standard uncertainty. On the right for how "
        "long the push had a direction there, all repetitions together: what the lines rest on. "
        f"Steps with less than {LEAST_S:g} s are left out."
    )


def draw(trial: Trial) -> list[str]:
    """Return the two figures; none if nothing has a direction."""
    profiles = profiles_of(trial)
    if not any((way.directed > 0).any() for one in profiles for way in (one.raising, one.lowering)):
        return []
    return [_off_axis(trial, profiles), _time(trial, profiles)]


def _off_axis(trial: Trial, profiles: tuple[Profile, ...]) -> str:
    with drawing(4.6, 3.4) as figure:
        ax = figure.subplots()
        for number, profile in enumerate(profiles):
            for name, way, style in _ways(profile):
                middle, value, u = _known(way, trial.series.fs_hz)
                label = name if number == 0 else None
                ax.plot(middle, value, lw=0.9, marker=".", ms=3, label=label, **style)
                if len(profiles) <= MOST_WITH_UNCERTAINTY:
                    ends = np.maximum(value - u, 0.0), value + u
                    ax.fill_between(middle, *ends, color=style["color"], alpha=0.12, lw=0)
        ax.axhspan(0.0, trial.target.cone_deg, color=ALLOWED, lw=0, zorder=0)
        ax.axhline(trial.target.cone_deg, color=LIMIT, lw=0.9, zorder=1)
        _frame(ax, "Off the target", "off-axis angle in °")
        return as_svg(figure, "Off-axis angle along the arc")


def _time(trial: Trial, profiles: tuple[Profile, ...]) -> str:
    with drawing(4.6, 3.4) as figure:
        ax = figure.subplots()
        ways = zip(*(_ways(profile) for profile in profiles), strict=True)
        for of_one in ways:
            name, way, style = of_one[0]
            seconds = sum(one.directed for _, one, _ in of_one) / trial.series.fs_hz
            reached = np.flatnonzero(seconds)[-1] + 2 if seconds.any() else 1
            middle = way.elevation_deg[:reached]
            ax.step(middle, seconds[:reached], where="mid", label=name, **style)
        _frame(ax, "Time with a direction", "s in each step")
        return as_svg(figure, "Time with a direction along the arc")


def _ways(profile: Profile) -> tuple[tuple[str, ArcProfile, dict[str, Any]], ...]:
    return ("raise", profile.raising, RAISE_STYLE), ("lower", profile.lowering, LOWER_STYLE)


def _known(way: ArcProfile, fs_hz: float) -> tuple[Floats, Floats, Floats]:
    """Return middles, off-axis angles and twice their uncertainties, NaN where too little is."""
    enough = way.directed >= LEAST_S * fs_hz
    value = np.where(enough, way.off_axis_deg, np.nan)
    return way.elevation_deg, value, COVERAGE_FACTOR * way.off_axis_u_deg


def _frame(ax: Axes, title: str, ylabel: str) -> None:
    ax.set(title=title, xlabel="elevation of the arm in °", ylabel=ylabel)
    ax.set_xlim(0.0, None)
    ax.set_ylim(0.0, None)
    ax.legend(loc="upper left", ncols=2)
