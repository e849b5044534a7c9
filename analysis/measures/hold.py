"""Whether the hand was there, how much of the phase is known, and where the hand went."""

from __future__ import annotations

import numpy as np

from analysis.measures.phase_view import PhaseView, Withheld, percent

CONTACT_SHIFT_PERCENTILE = 95


def hold_coverage(view: PhaseView) -> float:
    """Return the share of the known time with the hand on."""
    view.when_known(view.series.glide_n)
    return percent(view.series.contact[view.slice][view.known])


def valid(view: PhaseView) -> float:
    """Return the share of the phase in which the push has a direction."""
    return percent(view.directed) if view.count else 0.0


def missing(view: PhaseView) -> float:
    """Return the share of the phase that was lost on the way."""
    return percent(view.series.missing[view.slice]) if view.count else 0.0


def saturated(view: PhaseView) -> float:
    """Return the share of the phase in which a channel stood at its rail."""
    return percent(view.series.saturated[view.slice]) if view.count else 0.0


def contact_shift(view: PhaseView) -> float:
    """Return how far the contact point went from where it was at set-up.

    The 95th percentile of the distance from the mean point of the set-up.
    """
    points = view.series.contact_point_m
    if points is None:
        raise Withheld("a three-axis cell cannot tell where the hand is")
    setup = view.spans.setup.slice
    before = points[setup][view.series.directed[setup]]
    before = before[np.isfinite(before).all(axis=1)]
    during = points[view.slice][view.directed]
    during = during[np.isfinite(during).all(axis=1)]
    if len(before) == 0 or len(during) == 0:
        raise Withheld("the contact point is not known at set-up or in this phase")
    away = np.linalg.norm(during - before.mean(axis=0), axis=1)
    return float(np.percentile(away, CONTACT_SHIFT_PERCENTILE) * 1e3)
