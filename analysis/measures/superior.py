"""How much of the push goes upward, and how that changes along the arc."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.measures.phase_view import PhaseView
from analysis.robust import theil_sen
from analysis.trial import PhaseName

Floats = NDArray[np.float64]


def superior_angle_mean(view: PhaseView) -> float:
    """Return the superior angle of the mean direction: + upward."""
    return _superior_deg(view.mean_push)


def superior_angle_p95(view: PhaseView) -> float:
    """Return the 95th percentile of the superior angle: exceeded 5 % of the time."""
    return float(np.rad2deg(np.percentile(view.when_directed(view.series.superior_angle_rad), 95)))


def superior_force_mean(view: PhaseView) -> float:
    """Return the mean upward component of the push while the hand is on: + upward."""
    return float(view.when_held(view.series.superior_force_n).mean())


def superior_force_p95(view: PhaseView) -> float:
    """Return the 95th percentile of the upward component of the push while the hand is on."""
    return float(np.percentile(view.when_held(view.series.superior_force_n), 95))


def superior_drift_per_10deg(view: PhaseView) -> float:
    """Return the Theil–Sen slope of the superior angle against elevation, per 10°."""
    superior_deg = np.rad2deg(view.when_directed(view.series.superior_angle_rad))
    return theil_sen(view.arc_deg, superior_deg, most=view.settings.drift_points) * 10.0


def superior_drift(view: PhaseView) -> float:
    """Return the superior angle late minus early in the phase, by outer tenths of the arc.

    Early and late are the outer tenths of the elevation range: lowest and highest for the raise,
    the other way round for the lower. For the whole movement both are the lowest tenth, before
    and after the top.
    """
    if view.name is PhaseName.MOVEMENT:
        early, late = view.other(PhaseName.RAISE), view.other(PhaseName.LOWER)
        return _outer_deg(late, highest=False) - _outer_deg(early, highest=False)
    change = _outer_deg(view, highest=True) - _outer_deg(view, highest=False)
    return change if view.name is PhaseName.RAISE else -change


def _outer_deg(view: PhaseView, *, highest: bool) -> float:
    """Return the superior angle of the mean push in the outer part of the elevation range."""
    elevation_deg = view.arc_deg
    low, high = float(elevation_deg.min()), float(elevation_deg.max())
    edge = view.settings.drift_outer_share * (high - low)
    outer = elevation_deg >= high - edge if highest else elevation_deg <= low + edge
    return _superior_deg(view.directions[outer].sum(axis=0))


def _superior_deg(direction: Floats) -> float:
    return float(np.rad2deg(np.arctan2(direction[1], np.hypot(direction[0], direction[2]))))
