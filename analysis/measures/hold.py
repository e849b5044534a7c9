"""Whether the hand was there, how much of the phase is known, and where the hand went."""

from __future__ import annotations

import numpy as np

from analysis.measures.phase_view import PhaseView, Withheld, least_samples, percent
from analysis.vectors import all_finite, lengths

CONTACT_SHIFT_PERCENTILE = 95
"""The largest distance would be one odd sample's."""


def hold_coverage(view: PhaseView) -> float:
    """Return the share of the known time with the hand on."""
    view.when_known(view.series.glide_n)
    return percent(view.series.contact[view.slice][view.known])


def valid(view: PhaseView) -> float:
    """Return the share of the phase in which the push has a direction."""
    return percent(view.directed)


def gated(view: PhaseView) -> float:
    """Return the share of the hold left out of every direction: too light, or too uncertain."""
    view.when_held(view.series.glide_n)
    return percent(~view.directed[view.held])


def missing(view: PhaseView) -> float:
    """Return the share of the phase that was lost on the way."""
    return percent(view.series.missing[view.slice])


def saturated(view: PhaseView) -> float:
    """Return the share of the phase in which a channel stood at its rail."""
    return percent(view.series.saturated[view.slice])


def contact_shift(view: PhaseView) -> float:
    """Return how far the contact point was from its mean at set-up, 95th percentile."""
    points = view.series.contact_point_m
    if points is None:
        raise Withheld("a three-axis cell cannot tell where the hand is")
    setup = view.spans.setup.slice
    before = view.series.directed[setup] & all_finite(points[setup])
    least = least_samples(view.series, view.settings)
    if np.count_nonzero(before) < least:
        raise Withheld("the hand was not on, or the contact point not known, at set-up")
    away = lengths(view.part(points) - points[setup][before].mean(axis=0))
    away = away[view.directed & np.isfinite(away)]
    if len(away) < least:
        raise Withheld("the contact point is not known in this phase")
    return float(np.percentile(away, CONTACT_SHIFT_PERCENTILE) * 1e3)
