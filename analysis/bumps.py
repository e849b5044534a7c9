"""A rig that was bumped while it recorded: found by its rests at home, and reckoned with.

At home the humerus stands still in the base, so the vertical seen there is the base's own. If it
has moved from one rest to the next and stays where it is, it is the base that leans now. A rest
that differs alone is none: then the arm hung otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.vectors import angle_between, cross

Floats = NDArray[np.float64]

BUMP_RAD = np.deg2rad(1.0)
"""Rests of an arm at its stop agree within some tenths of a degree. Ours."""
RESTS_NEEDED = 2
"""So many rests must agree on the new vertical."""


@dataclass(frozen=True, slots=True)
class Bump:
    """A lean of the base.

    Attributes:
        at: First sample that is reckoned with the new pose: the first rest in it.
        leaned_rad: By how much.
        up_in_base: Shape (3,), the vertical in B from there on.
    """

    at: int
    leaned_rad: float
    up_in_base: Floats


def find_bumps(
    verticals: Floats, rests: Sequence[tuple[int, int]], up_in_base: Floats
) -> tuple[Bump, ...]:
    """Return the bumps that the rests at home show, in order.

    Args:
        verticals: Shape (rests, 3), the mean vertical in H at each rest.
        rests: Their half-open ranges of samples.
        up_in_base: Shape (3,), the vertical in B as described, believed up to the first bump.
    """
    found: list[Bump] = []
    first = before = verticals[0]
    for index in range(1, len(rests) - RESTS_NEEDED + 1):
        now = verticals[index : index + RESTS_NEEDED]
        agree = _apart(now[0], now[-1]) < BUMP_RAD / 2.0
        if agree and _apart(now.mean(axis=0), before) > BUMP_RAD:
            leaned, before = _apart(now.mean(axis=0), before), now.mean(axis=0)
            found.append(Bump(rests[index][0], leaned, _carried(first, before, up_in_base)))
    return tuple(found)


def _apart(first: Floats, second: Floats) -> float:
    return float(angle_between(first, second))


def _carried(old: Floats, new: Floats, vector: Floats) -> Floats:
    """Return *vector* turned as *old* must be to become *new*, each (3,)."""
    axis = cross(old, new)
    turn = axis / np.linalg.norm(axis) * _apart(old, new)
    return np.asarray(Rotation.from_rotvec(turn).apply(vector))
