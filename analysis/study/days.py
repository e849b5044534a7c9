"""How much a person differs from day to day, and what that makes of a claim about one of them.

The model: value = course of practice + session + repetition, sessions and repetitions random. A
mean of one day against a mean of another is exact only to how much days differ, however many
repetitions each has. People share the spread of their days, so it is pooled over a class; each
person's repetitions have their own.

Sources: the spread of days from the sessions' means with the course taken out (Henderson 1953,
Biometrics 9:226, method 3); degrees of freedom after Satterthwaite 1946, Biometrics Bull 2:110.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.comparison.effect_sizes import Interval

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

LEVEL = 0.95
LEAST_FREEDOM = 2
"""With one degree of freedom an interval reaches 13 standard errors: no claim. Ours."""
FEW_DAYS = "how much days differ is not known: too few people practised on two days or more"


@dataclass(frozen=True, slots=True)
class Sessions:
    """What the sessions of one person say of days.

    Attributes:
        squares: Sum of squares of the sessions' means, the course of practice taken out.
        held: How often the variance of a repetition is in them.
        freedom: Their degrees of freedom.
        repetition: Variance of a repetition.
        repetition_freedom: Its degrees of freedom.
    """

    squares: float
    held: float
    freedom: int
    repetition: float
    repetition_freedom: int


@dataclass(frozen=True, slots=True)
class Days:
    """How much days differ, and repetitions of one day.

    Attributes:
        square: Mean square of sessions' means: days, and what repetitions leave in a mean.
        held: How often the variance of a repetition is in it.
        freedom: Its degrees of freedom.
        repetition: Variance of a repetition.
        repetition_freedom: Its degrees of freedom.
    """

    square: float
    held: float
    freedom: int
    repetition: float
    repetition_freedom: int

    @property
    def known(self) -> bool:
        """Whether enough days stand behind it for a claim across days."""
        return self.freedom >= LEAST_FREEDOM

    @property
    def session(self) -> float:
        """Variance between days, not below zero."""
        return max(0.0, self.square - self.held * self.repetition)

    def reach(self, weights: Floats, session: Whole) -> tuple[Floats, Floats]:
        """Return standard errors of weighted sums of values, and their t quantiles.

        What is unsure in the spread of days stays in: an estimate of zero does not make days alike.

        Args:
            weights: Shape (k, n), of each sum.
            session: Shape (n,), of each value.

        Returns:
            Both shape (k,).
        """
        names = np.unique(session)
        of_days = np.sum((weights @ (session[:, np.newaxis] == names)) ** 2, axis=1)
        of_repetitions = np.sum(weights**2, axis=1)
        # A sum that sees no day but its own is free of days.
        of_days = np.where(of_days < 1e-12 * of_repetitions, 0.0, of_days)
        days = of_days * self.square
        rest = np.maximum(0.0, of_repetitions - of_days * self.held) * self.repetition
        whole = days + rest
        spread = days**2 / max(1, self.freedom) + rest**2 / max(1, self.repetition_freedom)
        freedom = np.divide(whole**2, spread, out=np.full_like(whole, np.inf), where=spread > 0.0)
        return np.sqrt(whole), np.asarray(stats.t.ppf((1.0 + LEVEL) / 2.0, freedom))

    def interval(self, weights: Floats, values: Floats, session: Whole) -> Interval:
        """Return a weighted sum of values, all three shape (n,), with its interval."""
        error, times = self.reach(weights[np.newaxis], session)
        value, half = float(weights @ values), float(error[0] * times[0])
        return Interval(value, value - half, value + half)


def sessions_of(values: Floats, session: Whole, within: Floats, between: Floats) -> Sessions:
    """Return what one person's sessions say of days.

    Args:
        values: Shape (n,).
        session: Shape (n,).
        within: Shape (n, p), the course as seen inside the sessions; p may be 0.
        between: Shape (j, q), the course as seen in the sessions' means, in order of their
            numbers; q may be 0.
    """
    names, at = np.unique(session, return_inverse=True)
    count = np.bincount(at).astype(np.float64)
    inside = values - (np.bincount(at, values) / count)[at]
    means = np.stack([np.bincount(at, column) / count for column in (*within.T, values)], axis=1)
    slopes = within - means[at, :-1]
    turned = np.linalg.pinv(slopes)
    found = turned @ inside
    freedom = max(0, len(values) - len(names) - within.shape[1])
    rest = float(np.sum((inside - slopes @ found) ** 2))
    offsets = means[:, -1] - means[:, :-1] @ found
    covariance = np.diag(1.0 / count) + means[:, :-1] @ (turned @ turned.T) @ means[:, :-1].T
    flat = np.column_stack([np.ones(len(names)), between])
    left = np.eye(len(names)) - flat @ np.linalg.pinv(flat)
    return Sessions(
        squares=max(0.0, float(offsets @ left @ offsets)),
        held=float(np.trace(left @ covariance)),
        freedom=max(0, len(names) - flat.shape[1]),
        repetition=rest / freedom if freedom else 0.0,
        repetition_freedom=freedom,
    )


def pooled(people: Sequence[Sessions]) -> Days:
    """Return what the sessions of several people say together."""
    freedom = sum(one.freedom for one in people)
    repeated = sum(one.repetition_freedom for one in people)
    inside = sum(one.repetition * one.repetition_freedom for one in people)
    able = [one for one in people if one.freedom]
    return Days(
        square=sum(one.squares for one in able) / freedom if freedom else 0.0,
        held=sum(one.held for one in able) / freedom if freedom else 0.0,
        freedom=freedom,
        repetition=inside / repeated if repeated else 0.0,
        repetition_freedom=repeated,
    )
