"""The other hand: whether it was on the scapula block, how hard, and for how much of the hold."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.measures.phase_view import PhaseView, Withheld, least_samples, percent

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def stabiliser_present(view: PhaseView) -> bool:
    """Return whether the stabilising hand was on the scapula block at all."""
    _, on, known = _second_hand(view)
    if known.sum() < least_samples(view.series, view.settings):
        raise Withheld("the stabilising hand's force is not known in this phase")
    return bool(on.sum() >= least_samples(view.series, view.settings))


def stabiliser_force_mean(view: PhaseView) -> float:
    """Return the mean force of the stabilising hand while it is on."""
    force, on, known = _second_hand(view)
    if (on & known).sum() < least_samples(view.series, view.settings):
        raise Withheld("the stabilising hand was hardly on in this phase")
    return float(force[on & known].mean())


def stabiliser_coverage(view: PhaseView) -> float:
    """Return the share of the hold, as far as it is known, with the stabilising hand on."""
    _, on, known = _second_hand(view)
    together = known & view.held
    if together.sum() < least_samples(view.series, view.settings):
        raise Withheld("there was hardly a hold in this phase to be steadied")
    return percent(on[together])


def _second_hand(view: PhaseView) -> tuple[Floats, Flags, Flags]:
    """Return the phase's force of the stabilising hand, where it is on and where it is known.

    Raises:
        Withheld: There is no cell under it, or it told nothing.
    """
    force_n, on = view.series.stabiliser_n, view.series.stabiliser_on
    if force_n is None or on is None:
        raise Withheld("no cell under the stabilising hand told its force")
    force = view.part(force_n)
    return force, on[view.slice], np.isfinite(force)
