"""The force of the stabilising hand, on rigs with a second cell under it.

That cell is bolted to the scapula block: no shell moves with an arm, so what it shows beyond its
zero is the hand. The zero is found as that of the first cell is, at rests at home, where both
hands are away; contact has the same thresholds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.recording.model import Recording
from analysis.errors import NotAnalysable
from analysis.filters import LowPass, smooth_runs
from analysis.resolve import ContactState, contact
from analysis.runs import without_short_gaps
from analysis.settings import AnalysisSettings
from analysis.timebase import Grid, stream_on_grid
from analysis.zero import find_zero, marked_windows

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class StabilisingHand:
    """The hand on the scapula block.

    Attributes:
        force_n: Shape (n,), magnitude of its push; NaN where not known.
        on: Shape (n,), by thresholds with hysteresis.
    """

    force_n: Floats
    on: Flags


def stabilising_hand(
    recording: Recording, grid: Grid, at_home: Flags, settings: AnalysisSettings
) -> StabilisingHand | None:
    """Return what the stabilising hand did, None if that cannot be known.

    Args:
        recording: With the stream that its rig description names, or without.
        grid: Of the analysis.
        at_home: Shape (n,), the arm rests at home.
        settings: Parameters, those of the first cell.
    """
    cell = recording.rig.stabiliser
    stream = recording.streams.get(cell.stream) if cell else None
    if stream is None or len(stream.counts) < 2:
        return None
    force, known = stream_on_grid(recording, stream, grid, settings)
    low_pass = LowPass(cutoff_hz=settings.cutoff_hz, order=settings.filter_order)
    force = smooth_runs(force, known, low_pass, fs_hz=grid.fs_hz)
    marked = marked_windows(recording.events, grid.origin_us, grid.fs_hz, len(force))
    try:
        zero = find_zero(force, at_home, grid.fs_hz, settings, marked=marked)
    except NotAnalysable:
        return None
    magnitude = np.linalg.norm(force - zero.wrench, axis=1)
    on, _ = contact(magnitude, grid.fs_hz, settings, ContactState())
    on = without_short_gaps(on, int(settings.contact_gap_s * grid.fs_hz))
    return StabilisingHand(magnitude, on)
