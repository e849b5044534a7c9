"""Runs of flags: half-open ranges, hysteresis, short gaps."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


PART = 1 << 13
"""Samples worked on at a time: what fits the processor's cache is several times faster."""


def parts_of(count: int) -> Iterator[slice]:
    """Yield the parts, of at most `PART` samples, that make up *count*."""
    for start in range(0, count, PART):
        yield slice(start, min(start + PART, count))


def runs_of(flags: Flags, *, min_length: int = 1) -> Iterator[tuple[int, int]]:
    """Yield the half-open ranges in which *flags* (n,) is true, in order.

    Args:
        flags: Shape (n,).
        min_length: Shorter runs are passed over.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        if stop - start >= min_length:
            yield int(start), int(stop)


def with_hysteresis(values: Floats, *, on: float, off: float, before: bool = False) -> Flags:
    """Return where *values* (n,) is on: from reaching *on* until it falls below *off*.

    NaN changes nothing: the state before it goes on; *before* is the state before the first.
    """
    with np.errstate(invalid="ignore"):
        return latched(values >= on, values < off, before=before)


def latched(set_by: Flags, cleared_by: Flags, *, before: bool = False) -> Flags:
    """Return a state (n,) that goes on where *set_by* is true and off where *cleared_by* is.

    In between it stays as it was; *before* is the state before the first. Where both are true
    it goes off.
    """
    switched = np.where(set_by | cleared_by, np.arange(len(set_by)), -1)
    last = np.maximum.accumulate(switched)
    state = np.where(last >= 0, ~cleared_by[np.maximum(last, 0)], before)
    return np.asarray(state, dtype=np.bool_)


def without_short_gaps(flags: Flags, max_length: int) -> Flags:
    """Return *flags* with false runs of at most *max_length* samples between true ones filled."""
    filled = flags.copy()
    for start, stop in runs_of(~flags):
        if start > 0 and stop < len(flags) and stop - start <= max_length:
            filled[start:stop] = True
    return filled


def run_lengths(flags: Flags, before: int = 0) -> NDArray[np.int64]:
    """Return for each sample how many in a row have been true up to it, shape (n,).

    Args:
        flags: Shape (n,).
        before: How many were true right before the first.
    """
    index = np.arange(1, len(flags) + 1)
    last_false = np.maximum.accumulate(np.where(flags, -before, index))
    return np.asarray(index - last_false)
