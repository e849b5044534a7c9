"""The mixed model of people and their sessions, by restricted maximum likelihood.

Own code: the optimisers of the maintained library do not reach a component that is zero, nor many
that are small, and such an answer is one too. Where the library has an answer a test holds ours
against it; where the design is balanced and nothing is at zero, against the closed form.

Source: the restricted likelihood of the nested design, people and sessions summed up in closed
form (Searle, Casella & McCulloch 1992, Variance Components, chapter 6).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

Floats = NDArray[np.float64]
Groups = dict[tuple[str, int], list[int]]
"""Rows of each session of each person, sorted."""

PERSON, SESSION, REPETITION = "person", "session", "repetition"
NO_SPREAD = "repetitions do not differ, so there is no likelihood"
NO_ANSWER = "no optimiser found the most likely variances"
ROUNDED = 1e-20
"""A smaller part of the whole sum of squares is what rounding leaves of nothing."""
MOST = 1e8
"""A component may be so many times that of repetitions."""


@dataclass(frozen=True, slots=True)
class _Cells:
    """What the likelihood needs of the values: of each session its size, mean and person."""

    sizes: Floats
    means: Floats
    person: NDArray[np.int64]
    inside: float
    values: int

    def off(self, ratios: Floats) -> float:
        """Return −2 log of the restricted likelihood, but for a constant.

        Args:
            ratios: Variance of people and of sessions over that of repetitions.
        """
        squares, weight, determinants = self._sums(ratios)
        return float((self.values - 1) * np.log(squares) + determinants + np.log(weight))

    def repetition(self, ratios: Floats) -> float:
        """Return the most likely variance of repetitions with these ratios."""
        return float(self._sums(ratios)[0] / (self.values - 1))

    def _sums(self, ratios: Floats) -> tuple[float, float, float]:
        people, sessions = ratios
        each = self.sizes / (1.0 + self.sizes * sessions)
        of_people = np.bincount(self.person, each)
        shrunk = 1.0 / (1.0 + people * of_people)
        weight = float(np.sum(of_people * shrunk))
        mean = float(np.sum(np.bincount(self.person, each * self.means) * shrunk)) / weight
        apart = self.means - mean
        lines = np.bincount(self.person, each * apart)
        squares = self.inside + float(np.sum(each * apart**2) - people * np.sum(shrunk * lines**2))
        determinants = np.sum(np.log1p(self.sizes * sessions)) - np.sum(np.log(shrunk))
        return squares, weight, float(determinants)


def variances(
    y: Floats, groups: Groups, *, with_sessions: bool, guess: Mapping[str, float]
) -> tuple[dict[str, float], str]:
    """Return the variances of people, sessions and repetitions by restricted maximum likelihood.

    Args:
        y: Shape (n,).
        groups: Rows of each session of each person, sorted.
        with_sessions: Whether anyone had two; else sessions are no part of the model.
        guess: Variances by name to begin with, such as the mean squares give; may be below zero.

    Returns:
        By name, and why there are none: nothing and empty the other way round.
    """
    cells = _cells(y, groups)
    whole = float(np.sum((y - y.mean()) ** 2))
    if cells.inside <= ROUNDED * max(whole, float(np.sum(y**2))):
        return {}, NO_SPREAD
    begin = np.array([max(0.0, guess.get(one, 0.0)) for one in (PERSON, SESSION)])
    ratios = _best(cells, begin / guess[REPETITION], with_sessions=with_sessions)
    if ratios is None:
        return {}, NO_ANSWER
    rest = cells.repetition(ratios)
    found = {PERSON: float(ratios[0]) * rest, REPETITION: rest}
    if with_sessions:
        found[SESSION] = float(ratios[1]) * rest
    return found, ""


def _best(cells: _Cells, begin: Floats, *, with_sessions: bool) -> Floats | None:
    """Return the ratios of the greatest likelihood; None if there are none.

    Zero is looked at apart: a component there is left out of the model.
    """
    both = [0, 1] if with_sessions else [0]
    ways = [(both, 1e-3), (both, 1.0), *(([place], 0.1) for place in both), ([], 0.0)]
    answers = [
        _from(cells, np.minimum(np.maximum(begin, least), MOST), places) for places, least in ways
    ]
    good = [one for one in answers if np.isfinite(one[0])]
    return min(good, key=lambda one: one[0])[1] if good else None


def _from(cells: _Cells, start: Floats, places: list[int]) -> tuple[float, Floats]:
    """Return the least of the likelihood's opposite over some ratios, the others zero."""

    def whole(some: Floats) -> Floats:
        ratios = np.zeros(2)
        ratios[places] = np.clip(some, 0.0, MOST)
        return ratios

    if not places:
        return cells.off(np.zeros(2)), np.zeros(2)

    def off(some: Floats) -> float:
        return cells.off(whole(some))

    run = optimize.minimize(
        off,
        start[places],
        method="Nelder-Mead",
        bounds=[(0.0, MOST)] * len(places),
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 2000},
    )
    return float(run.fun), whole(run.x)


def _cells(y: Floats, groups: Groups) -> _Cells:
    names = {who: place for place, who in enumerate(dict.fromkeys(who for who, _ in groups))}
    means = np.array([y[rows].mean() for rows in groups.values()])
    inside = sum(
        float(np.sum((y[rows] - mean) ** 2))
        for rows, mean in zip(groups.values(), means, strict=True)
    )
    return _Cells(
        sizes=np.array([float(len(rows)) for rows in groups.values()]),
        means=means - y.mean(),
        person=np.array([names[who] for who, _ in groups], dtype=np.int64),
        inside=inside,
        values=len(y),
    )
