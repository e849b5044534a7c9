"""Statistics of directions, as directions: never of their angles.

Fisher 1953 (Proc R Soc Lond A 217:295): N unit vectors with resultant R have concentration
k = (N − 1)/(N − R) and a cone of confidence about their mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.vectors import angle_between

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FisherStatistics:
    """Summary of N directions.

    Attributes:
        count: N.
        mean: Unit vector, shape (3,).
        resultant: R, length of the sum.
        kappa: Concentration, inf if all are the same.
        alpha95_rad: Half-angle of the cone that holds the true mean with 95 %, for independent
            directions. Samples in a row are not independent: use means of repetitions.
    """

    count: int
    mean: Floats
    resultant: float
    kappa: float
    alpha95_rad: float


def unit_vectors(vectors: Floats) -> Floats:
    """Return (n, 3) vectors with length 1; NaN for a zero vector."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(vectors / np.linalg.norm(vectors, axis=1, keepdims=True))


def mean_direction(vectors: Floats) -> Floats:
    """Return the direction of the sum of unit vectors of (n, 3), shape (3,)."""
    total = unit_vectors(vectors).sum(axis=0)
    return np.asarray(total / np.linalg.norm(total))


def angular_sd_rad(vectors: Floats) -> float:
    """Return the root mean square angle of (n, 3) vectors to their mean direction."""
    return float(np.sqrt(np.mean(angle_between(vectors, mean_direction(vectors)) ** 2)))


def fisher(vectors: Floats) -> FisherStatistics:
    """Return Fisher statistics of (n, 3) vectors, of which only the directions count.

    Raises:
        ValueError: There are fewer than two.
    """
    count = len(vectors)
    if count < 2:
        raise ValueError(f"{count} directions have no spread: at least 2 are needed")
    total = unit_vectors(vectors).sum(axis=0)
    resultant = float(np.linalg.norm(total))
    shortfall = max(count - resultant, 0.0)
    kappa = (count - 1) / shortfall if shortfall > 0.0 else np.inf
    cosine = 1.0 - shortfall / resultant * (20.0 ** (1.0 / (count - 1)) - 1.0)
    alpha95 = float(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return FisherStatistics(count, total / resultant, resultant, float(kappa), alpha95)
