"""Statistics of directions, as directions: never of their angles.

Fisher 1953 (Proc R Soc Lond A 217:295): N unit vectors with resultant R have concentration
k = (N − 1)/(N − R) and a cone of confidence about their mean. Samples in a row are not
independent: cones and tests are for means of repetitions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from analysis.vectors import angle_between, lengths

Floats = NDArray[np.float64]

DUST = 1e-20
"""Mean of 1 − cos of the angles to the mean below which they may be rounding of long sums."""
SERIES_BELOW = 1e-3
"""Of smaller concentrations coth κ − 1/κ is taken by its series, or its digits would go."""


@dataclass(frozen=True, slots=True)
class FisherStatistics:
    """Summary of N directions.

    Attributes:
        count: N.
        mean: Unit vector, shape (3,).
        resultant: R, length of the sum.
        kappa: Concentration k, inf if all are the same.
        alpha95_rad: Half-angle of the cone that holds the true mean with 95 %, for independent
            directions.
    """

    count: int
    mean: Floats
    resultant: float
    kappa: float
    alpha95_rad: float

    @property
    def csd_rad(self) -> float:
        """81°/√k: the angle that holds 63 % of the directions (Fisher's distribution, k ≫ 1)."""
        return float(np.deg2rad(81.0) / np.sqrt(self.kappa))

    @property
    def kappa_ml(self) -> float:
        """The most likely concentration: coth κ − 1/κ = R/N; inf if all are the same."""
        return most_likely_kappa((self.count - 1) / self.count / self.kappa)


@dataclass(frozen=True, slots=True)
class WatsonTest:
    """Whether two sets of directions have the same mean.

    Attributes:
        f: Watson's statistic.
        degrees: Degrees of freedom of the F distribution it has if they do.
        p: Chance of one as large if they do.
    """

    f: float
    degrees: tuple[int, int]
    p: float


def unit_vectors(vectors: Floats) -> Floats:
    """Return (n, 3) vectors with length 1; NaN for a zero vector."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return (vectors.T / lengths(vectors)).T


def mean_direction(vectors: Floats) -> Floats:
    """Return the direction of the sum of unit vectors of (n, 3), shape (3,)."""
    total = unit_vectors(vectors).sum(axis=0)
    return np.asarray(total / np.linalg.norm(total))


def angular_sd_rad(vectors: Floats, mean: Floats | None = None) -> float:
    """Return the root mean square angle of (n, 3) vectors to their *mean* direction.

    None works it out.
    """
    mean = mean_direction(vectors) if mean is None else mean
    return float(np.sqrt(np.mean(angle_between(vectors, mean) ** 2)))


def fisher(vectors: Floats) -> FisherStatistics:
    """Return Fisher statistics of (n, 3) vectors, of which only the directions count.

    Raises:
        ValueError: There are fewer than two.
    """
    return fisher_of(unit_vectors(vectors))


def fisher_of(units: Floats) -> FisherStatistics:
    """Return Fisher statistics of (n, 3) vectors known to have length 1; raises as `fisher`."""
    count = len(units)
    if count < 2:
        raise ValueError(f"{count} directions have no spread: at least 2 are needed")
    total = units.sum(axis=0)
    resultant = float(np.linalg.norm(total))
    mean = total / resultant
    # N − R as a sum of squares: of close directions the difference would be rounding.
    shortfall = float(np.sum((units - mean) ** 2) / 2.0)
    kappa = (count - 1) / shortfall if shortfall > count * DUST else np.inf
    cosine = 1.0 - shortfall / resultant * (20.0 ** (1.0 / (count - 1)) - 1.0)
    alpha95 = float(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return FisherStatistics(count, mean, resultant, float(kappa), alpha95)


def mean_resultant(kappa: float) -> float:
    """Return the mean resultant length, coth κ − 1/κ, of Fisher's distribution."""
    if kappa < SERIES_BELOW:
        return kappa / 3.0
    return float(1.0 / np.tanh(kappa) - 1.0 / kappa)


def most_likely_kappa(shortfall: float) -> float:
    """Return the concentration whose mean resultant length is 1 − *shortfall*.

    Args:
        shortfall: 1 − R/N, from 0 to 1; 0 gives inf.
    """
    # From 20 on coth is 1 to a double, and what is left is 1/κ.
    if shortfall < 1.0 / 20.0:
        return 1.0 / shortfall if shortfall else float(np.inf)
    return float(optimize.brentq(lambda kappa: mean_resultant(kappa) - 1.0 + shortfall, 0.0, 20.0))


def watson_test(first: Floats, second: Floats) -> WatsonTest:
    """Test whether two sets of directions, (n, 3) and (m, 3), have the same mean.

    Watson 1956: F = (N − 2)(R₁ + R₂ − R)/(N − R₁ − R₂) on 2 and 2(N − 2) degrees of freedom,
    for directions that are independent and equally concentrated.

    Raises:
        ValueError: Either set has fewer than two.
    """
    one, two = fisher(first), fisher(second)
    together = fisher(np.concatenate([unit_vectors(first), unit_vectors(second)]))
    apart = one.resultant + two.resultant
    f = (together.count - 2) * (apart - together.resultant) / (together.count - apart)
    second_degrees = 2 * (together.count - 2)
    # With 2 degrees in front the F distribution has a closed form.
    p = (1.0 + 2.0 * f / second_degrees) ** (-second_degrees / 2.0)
    return WatsonTest(float(f), (2, second_degrees), float(p))
