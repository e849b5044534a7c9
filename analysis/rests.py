"""Still moments near home: what tells whether the base stands as it did.

Wider than the rests at home that fix the heading: if the base was bumped, the arm at its stop no
longer hangs within the tolerance.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.bumps import Rests
from analysis.inertial import up_in_humerus
from analysis.runs import runs_of
from analysis.settings import AnalysisSettings
from analysis.vectors import angle_between

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

NEAR_HOME_RAD = np.deg2rad(20.0)
"""A base that leans by more has fallen over. Ours."""
AWAY_RAD = np.deg2rad(25.0)
"""The arm has been away if it was so far from where it rested: further than a rest may lie from
home, and less than a repetition goes."""
PIECE_S = 0.5
"""A long rest counts as several: the hand may come, or the base lean, meanwhile. Not much longer
than a rest must last."""
MOST_PIECES = 20
LOOKED_AT_HZ = 20.0
"""So often it is looked at how far the arm is away: a lift lasts longer."""
LOOKED_AT_IN_PIECE = 10


def near_rests(
    humerus_to_earth: Floats,
    known: Flags,
    still: Flags,
    tilt_rad: Floats,
    home_tolerance_rad: float,
    fs_hz: float,
    settings: AnalysisSettings,
) -> Rests:
    """Return the still moments near home, whose hand is not known yet.

    Args:
        humerus_to_earth: Shape (n, 4), quaternions, scalar last.
        known: Shape (n,), there is an orientation.
        still: Shape (n,), true only where it is known.
        tilt_rad: Shape (n,), from the vertical as described.
        home_tolerance_rad: Tilt that counts as home: so much is near in any case.
        fs_hz: Rate.
        settings: How long a rest lasts.
    """
    least, piece = int(settings.rest_min_s * fs_hz), max(1, int(PIECE_S * fs_hz))
    near = still & (tilt_rad < max(NEAR_HOME_RAD, home_tolerance_rad))
    edges = [
        np.linspace(start, stop, min(MOST_PIECES, max(1, (stop - start) // piece)) + 1)
        for start, stop in runs_of(near, min_length=least)
    ]
    starts = np.concatenate([np.empty(0), *(edge[:-1] for edge in edges)]).astype(np.int64)
    stops = np.concatenate([np.empty(0), *(edge[1:] for edge in edges)]).astype(np.int64)
    inside = np.outer(stops - starts, (np.arange(LOOKED_AT_IN_PIECE) + 0.5) / LOOKED_AT_IN_PIECE)
    rows = (starts[:, np.newaxis] + inside).astype(np.int64).ravel()
    verticals = (
        up_in_humerus(humerus_to_earth[rows])
        .reshape(len(starts), LOOKED_AT_IN_PIECE, 3)
        .mean(axis=1)
    )
    at = np.arange(0, len(known), max(1, int(fs_hz / LOOKED_AT_HZ)))
    at = at[known[at]]
    arrived = _arrived(at, up_in_humerus(humerus_to_earth[at]), starts, stops, verticals)
    return Rests(starts, stops, verticals, arrived, np.zeros(len(starts), dtype=np.bool_))


def with_hand(rests: Rests, hand_off: Flags) -> Rests:
    """Return rests that know whether nobody touched the cell.

    Args:
        rests: As they were found.
        hand_off: Shape (n,), the force is known and the hand not on.
    """
    ranges = zip(rests.starts.tolist(), rests.stops.tolist(), strict=True)
    untouched = [bool(hand_off[start:stop].all()) for start, stop in ranges]
    return replace(rests, hand_off=np.array(untouched, dtype=np.bool_))


def _arrived(at: Ints, verticals_at: Floats, starts: Ints, stops: Ints, verticals: Floats) -> Flags:
    """Tell before which rests the arm was away from where it rested last, shape (k,).

    Args:
        at: Shape (m,), samples that are looked at.
        verticals_at: Shape (m, 3), the vertical in H there.
        starts: Shape (k,), of the rests.
        stops: Shape (k,).
        verticals: Shape (k, 3), the vertical in H at the rests.
    """
    arrived = np.zeros(len(starts), dtype=np.bool_)
    if len(starts) < 2:
        return arrived
    last = np.searchsorted(starts, at, side="right") - 1
    use = (last >= 0) & (last < len(starts) - 1) & (at >= stops[np.maximum(last, 0)])
    away = angle_between(verticals_at[use], verticals[last[use]])
    arrived[last[use][away > AWAY_RAD] + 1] = True
    return arrived
