"""Whether the hand was there, how much of the phase is known, and where the hand went."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.measures.phase_view import PhaseView, Withheld, least_samples, percent
from analysis.vectors import all_finite, lengths

Floats = NDArray[np.float64]

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
    before = _known_points(view, points, view.spans.setup.slice)
    during = _known_points(view, points, view.slice)
    least = least_samples(view.series, view.settings)
    if len(before) < least:
        raise Withheld("the hand was not on, or the contact point not known, at set-up")
    if len(during) < least:
        raise Withheld("the contact point is not known in this phase")
    away = lengths(during - before.mean(axis=0))
    return float(np.percentile(away, CONTACT_SHIFT_PERCENTILE) * 1e3)


def _known_points(view: PhaseView, points_m: Floats, part: slice) -> Floats:
    """Return the contact points (m, 3) of a part where there is a direction."""
    here = points_m[part][view.series.directed[part]]
    return here[all_finite(here)]
