"""Lines reduced to what a page can show, and the styles of the two ways of the arm."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.trial import Repetition, Span, Trial
from ui.report.look import LOWER, RAISE

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

POINTS_OF_A_FIGURE = 3000
"""All its lines together: some 50 kB of drawing."""
FEWEST_POINTS = 60
RAISE_STYLE: dict[str, Any] = {"color": RAISE, "linestyle": "-"}
LOWER_STYLE: dict[str, Any] = {"color": LOWER, "linestyle": (0, (4, 1.5))}


def ways(repetition: Repetition) -> tuple[tuple[str, Span, dict[str, Any]], ...]:
    """Return name, span and line style of the way up and the way down."""
    spans = repetition.spans
    return ("raise", spans.raising, RAISE_STYLE), ("lower", spans.lowering, LOWER_STYLE)


def points_of_a_line(trial: Trial) -> int:
    """Return how many points one line may have where each repetition draws two."""
    return max(FEWEST_POINTS, POINTS_OF_A_FIGURE // max(1, 2 * len(trial.repetitions)))


def evenly(span: Span, points: int) -> Indices:
    """Return at most *points* sample numbers, evenly over a span, its ends among them."""
    if len(span) == 0:
        return np.zeros(0, dtype=np.int64)
    wanted = min(points, len(span))
    return np.unique(np.linspace(span.start, span.stop - 1, wanted).astype(np.int64))


def extremes(values: Floats, span: Span, points: int) -> Indices:
    """Return at most about *points* sample numbers of a span that keep peaks and gaps.

    The span is cut into pieces; of each the least and the greatest value stay, and one sample
    without a value if there is one, so that a gap stays a gap.

    Args:
        values: Shape (n,), NaN where there is none.
        span: The part to reduce.
        points: About how many.
    """
    if len(span) <= points:
        return np.arange(span.start, span.stop)
    edges = np.linspace(span.start, span.stop, max(2, points // 2) + 1).astype(np.int64)
    kept: set[int] = {span.start, span.stop - 1}
    for start, stop in pairwise(edges.tolist()):
        piece = values[start:stop]
        known = np.flatnonzero(np.isfinite(piece))
        if len(known):
            kept.add(int(start + known[np.argmin(piece[known])]))
            kept.add(int(start + known[np.argmax(piece[known])]))
        if len(known) < len(piece):
            kept.add(int(start + np.flatnonzero(~np.isfinite(piece))[0]))
    return np.array(sorted(kept), dtype=np.int64)
