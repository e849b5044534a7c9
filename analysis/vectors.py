"""Arithmetic of many 3-vectors at once.

Long arrays are quickest with each component in one piece of memory, so that is how results are
laid out here; their shape is (n, 3) all the same.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.runs import PART, parts_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def cross(first: Floats, second: Floats) -> Floats:
    """Return the vector products of (n, 3) or (3,) with (n, 3) or (3,).

    What `numpy.cross` does, without its cost per call, which is a third of the live chain's.
    """
    ax, ay, az = first[..., 0], first[..., 1], first[..., 2]
    bx, by, bz = second[..., 0], second[..., 1], second[..., 2]
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx]).T


def dot(first: Floats, second: Floats) -> Floats:
    """Return the scalar products of (n, 3) or (3,) with (n, 3) or (3,)."""
    total = first[..., 0] * second[..., 0]
    total = total + first[..., 1] * second[..., 1]
    return np.asarray(total + first[..., 2] * second[..., 2])


def lengths(vectors: Floats) -> Floats:
    """Return the lengths of (n, 3), shape (n,), or of (3,).

    What `numpy.linalg.norm` does, seven times faster on long arrays.
    """
    if len(vectors) <= PART:
        return np.asarray(np.sqrt(dot(vectors, vectors)))
    return np.concatenate([lengths(vectors[part]) for part in parts_of(len(vectors))])


def angle_between(vectors: Floats, other: Floats) -> Floats:
    """Return angles between (n, 3) and (3,) or (n, 3), radians, exact also near 0 and π."""
    return np.asarray(np.arctan2(lengths(cross(vectors, other)), dot(vectors, other)))


def all_finite(vectors: Floats) -> Flags:
    """Tell which rows of (n, k) hold numbers only, shape (n,)."""
    finite = np.isfinite(vectors[:, 0])
    for column in range(1, vectors.shape[1]):
        finite &= np.isfinite(vectors[:, column])
    return finite


def side_by_side(first: Floats, second: Floats) -> Floats:
    """Return the columns of both, (n, k) and (n, l), in one array (n, k + l)."""
    return np.concatenate([first.T, second.T]).T
