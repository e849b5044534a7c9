"""How much of the push goes upward, and how that changes along the arc."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.directions import mean_direction
from analysis.measures.phase_view import PhaseView, Withheld
from analysis.trial import PhaseName

Floats = NDArray[np.float64]

SLOPE_POINTS = 250
"""Theil–Sen looks at all pairs; neighbouring samples of a 10 Hz signal add nothing."""
MIN_RANGE_DEG = 10.0
OUTER_SHARE = 0.1


def superior_angle_mean(view: PhaseView) -> float:
    """Return the superior angle of the mean direction: + upward."""
    return _superior_deg(view.mean_push)


def superior_angle_p95(view: PhaseView) -> float:
    """Return the 95th percentile of the superior angle."""
    return float(np.rad2deg(np.percentile(view.when_directed(view.series.superior_angle_rad), 95)))


def superior_force_mean(view: PhaseView) -> float:
    """Return the mean upward component of the push while the hand is on."""
    return float(view.when_held(view.series.superior_force_n).mean())


def superior_force_p95(view: PhaseView) -> float:
    """Return the 95th percentile of the upward component of the push."""
    return float(np.percentile(view.when_held(view.series.superior_force_n), 95))


def superior_drift_per_10deg(view: PhaseView) -> float:
    """Return the Theil–Sen slope of the superior angle against elevation.

    Theil 1950, Sen 1968 (J Am Stat Assoc 63:1379).
    """
    elevation = np.rad2deg(view.when_directed(view.series.elevation_rad))
    superior = np.rad2deg(view.when_directed(view.series.superior_angle_rad))
    _require_range(elevation)
    step = max(1, len(elevation) // SLOPE_POINTS)
    slope = stats.theilslopes(superior[::step], elevation[::step]).slope
    return float(slope * 10.0)


def superior_drift(view: PhaseView) -> float:
    """Return the superior angle late minus early in the phase, by outer tenths of the arc.

    Early and late are the outer tenths of the elevation range: lowest and highest for the raise,
    the other way round for the lower. For the whole movement both are the lowest tenth, before
    and after the top.
    """
    if view.name is PhaseName.MOVEMENT:
        raising = PhaseView(view.series, view.spans, PhaseName.RAISE, view.target)
        lowering = PhaseView(view.series, view.spans, PhaseName.LOWER, view.target)
        return _outer_deg(lowering, highest=False) - _outer_deg(raising, highest=False)
    change = _outer_deg(view, highest=True) - _outer_deg(view, highest=False)
    return change if view.name is PhaseName.RAISE else -change


def _outer_deg(view: PhaseView, *, highest: bool) -> float:
    elevation = np.rad2deg(view.part(view.series.elevation_rad))
    use = view.directed
    if not use.any():
        raise Withheld("the push was too light, or the data too poor, for a direction")
    low, high = float(elevation[use].min()), float(elevation[use].max())
    _require_range(np.array([low, high]))
    edge = OUTER_SHARE * (high - low)
    outer = elevation >= high - edge if highest else elevation <= low + edge
    return _superior_deg(mean_direction(view.part(view.series.force_n)[use & outer]))


def _require_range(elevation_deg: Floats) -> None:
    if np.ptp(elevation_deg) < MIN_RANGE_DEG:
        raise Withheld(f"the push has a direction over less than {MIN_RANGE_DEG:g}° of the arc")


def _superior_deg(direction: Floats) -> float:
    return float(np.rad2deg(np.arctan2(direction[1], np.hypot(direction[0], direction[2]))))
