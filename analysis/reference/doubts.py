"""When a band is to be doubted: it is too wide to judge by, or somebody in it stands apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

Floats = NDArray[np.float64]


def standing_apart(means: Floats, chance: float) -> tuple[int, ...]:
    """Return who stands apart from the others by more than chance, the furthest first.

    As many as half of them may, less one: then the most deviating is taken away, one after another,
    and all up to the last whose distance from those left is beyond chance stand apart. So two who
    aim alike do not hide each other. Distances are root mean squares over the arc beside the SD
    of those left; along the arc they count as one position, as if each were off by the same
    everywhere, which is the worst case. The limits are approximate for few: of 4 to 8 alike, off by
    the same everywhere, somebody is named in 8 of 100 groups where *chance* is 5 %, and less often
    if the distance changes along the arc.

    Source: Rosner 1983, Technometrics 25:165 (generalised extreme studentised deviate), here of
    curves.

    Args:
        means: Mean curve of each, shape (persons, points).
        chance: That anybody of a large group alike is named.

    Returns:
        Rows of *means*.
    """
    left = list(range(len(means)))
    taken: list[int] = []
    apart = 0
    for _ in range((len(means) - 1) // 2):
        distances = [_distance(means, who, left) for who in left]
        worst = int(np.argmax(distances))
        limit = student.ppf(1.0 - chance / (2 * len(left)), len(left) - 2)
        taken.append(left.pop(worst))
        if distances[worst] > limit:
            apart = len(taken)
    return tuple(taken[:apart])


def furthest(means: Floats) -> int:
    """Return the row of *means*, of two or more, that lies furthest from the others' median.

    Root mean square over the arc; the median does not follow one who is far off.
    """
    away = means - np.median(means, axis=0)
    return int(np.argmax(np.mean(away**2, axis=1)))


def difference_from_others(means: Floats, who: int, apart: Sequence[int]) -> float:
    """Return how far one lies from those who do not stand apart, on average over the arc."""
    others = [row for row in range(len(means)) if row != who and row not in apart]
    return float(np.mean(means[who] - means[others].mean(axis=0)))


def _distance(means: Floats, who: int, left: Sequence[int]) -> float:
    others = means[[one for one in left if one != who]]
    away = np.mean((means[who] - others.mean(axis=0)) ** 2)
    spread = np.mean(others.var(axis=0, ddof=1)) * (1.0 + 1.0 / len(others))
    if spread == 0.0:
        return np.inf if away > 0.0 else 0.0
    return float(np.sqrt(away / spread))
