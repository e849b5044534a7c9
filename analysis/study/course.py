"""Whether the course of practice is more than chance, whatever the days.

The course looked for is value = plateau + rest · exp(−(n − 1) / pace), n the repetitions
practised, with every session free to lie higher or lower. Inside a session days play no part, so
the test within sessions holds however much days differ; from `LEAST_SESSIONS` on the means of
sessions are a second test, and the level is shared between the two (Bonferroni).

The best pace is looked for, so the chance of the best fit is drawn from normal noise in the same
design (a fixed seed): its distribution does not depend on how large noise or days are.

What it sees, simulated, repetitions with an SD of 1 and days with one of 0 to 2: in three sessions
of twelve a gain of 4 with a pace of 5 in 9 people of 10, with a pace of 12 in 7, with one of 30 in
3; a gain of 2 with a pace of 5 in 4. What is learned between days alone takes many sessions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

ALPHA = 0.05
LEAST_SESSIONS = 4
"""Fewer means of sessions hold a bent line and no spread about it."""
LEAST_INSIDE = 4
"""So many degrees of freedom the test within sessions needs. Ours."""
DRAWS = 1999
SEED = 20
PACES = (0.5, 4.0)
"""The pace is looked for from half a repetition to so many times all of them."""
STEPS = 40
ROUNDED = 1e-12
"""Smaller, relative to the rest, is what rounding leaves of nothing."""


@dataclass(frozen=True, slots=True)
class Course:
    """What the tests say.

    Attributes:
        within: Chance of so good a fit inside sessions if nothing changes; None: not tested.
        between: The same of the means of sessions; None: too few.
        within_pace: Pace that fits best inside sessions.
        between_pace: Pace that fits the means best.
    """

    within: float | None
    between: float | None
    within_pace: float
    between_pace: float

    @property
    def level(self) -> float:
        """What a chance must not exceed for the course to be told."""
        return ALPHA / max(1, (self.within is not None) + (self.between is not None))

    @property
    def told_within(self) -> bool:
        """Whether the course shows inside sessions."""
        return self.within is not None and self.within <= self.level

    @property
    def told_between(self) -> bool:
        """Whether it shows in the means of sessions."""
        return self.between is not None and self.between <= self.level

    @property
    def told(self) -> bool:
        """Whether it shows at all."""
        return self.told_within or self.told_between


def paces(at: Floats, steps: int = STEPS) -> Floats:
    """Return the paces looked at, for repetitions practised (n,)."""
    return np.geomspace(PACES[0], PACES[1] * float(at.max()), steps)


def falls(at: Floats, pace: Floats) -> Floats:
    """Return how much of the way is left after repetitions (n,) at paces (k,), shape (n, k)."""
    return np.asarray(np.exp(-(at[:, np.newaxis] - 1.0) / pace))


def course_of(at: Floats, session: Whole, values: Floats) -> Course:
    """Return the tests of values (n,) over repetitions practised (n,) in sessions (n,)."""
    found = _designs(tuple(at), tuple(session.tolist()))
    chances: list[float | None] = []
    best = []
    for design, drawn, seen in zip(found[::2], found[1::2], (False, True), strict=True):
        if not len(drawn):
            chances.append(None)
            best.append(float(at.max()))
            continue
        y = _means(values, session) if seen else values - _means(values, session)[_index(session)]
        y = y - y.mean()
        if np.max(np.abs(y)) < ROUNDED * np.max(np.abs(values)):
            y = np.zeros_like(y)
        fits = _fits(y[np.newaxis], design)[0]
        chances.append(float((1 + np.sum(drawn >= fits.max() - 1e-12)) / (1 + len(drawn))))
        best.append(float(paces(at)[int(np.argmax(fits))]))
    return Course(chances[0], chances[1], best[0], best[1])


@lru_cache(maxsize=256)
def _designs(at: tuple[float, ...], session: tuple[int, ...]) -> tuple[Floats, ...]:
    """Return the course inside sessions, what chance makes of it, and both of sessions' means."""
    practised, sessions = np.array(at), np.array(session)
    shapes = falls(practised, paces(practised))
    means = np.stack([_means(column, sessions) for column in shapes.T], axis=1)
    inside = shapes - means[_index(sessions)]
    rng = np.random.default_rng(SEED)
    count = len(means)
    within, between = np.empty(0), np.empty(0)
    if len(at) - count - 1 >= LEAST_INSIDE:
        noise = rng.standard_normal((DRAWS, len(at)))
        within = _fits(_inside(noise, sessions), inside).max(axis=1)
    if count >= LEAST_SESSIONS:
        noise = rng.standard_normal((DRAWS, count))
        means = means - means.mean(axis=0)
        between = _fits(noise - noise.mean(axis=1, keepdims=True), means).max(axis=1)
    return inside, within, means, between


def _fits(values: Floats, shapes: Floats) -> Floats:
    """Return the share of the squares of centred values (m, n) that shapes (n, k) explain."""
    of_values, of_shapes = np.sum(values**2, axis=1, keepdims=True), np.sum(shapes**2, axis=0)
    along = (values @ shapes) ** 2
    given = (of_values > 0.0) & (of_shapes > ROUNDED)
    return np.asarray(
        np.divide(along, of_values * of_shapes, out=np.zeros_like(along), where=given)
    )


def _index(session: Whole) -> Whole:
    return np.asarray(np.unique(session, return_inverse=True)[1], dtype=np.int64)


def _means(values: Floats, session: Whole) -> Floats:
    at = _index(session)
    return np.asarray(np.bincount(at, values) / np.bincount(at))


def _inside(values: Floats, session: Whole) -> Floats:
    at = _index(session)
    share = (at[:, np.newaxis] == np.arange(at.max() + 1)) / np.bincount(at)
    return np.asarray(values - (values @ share)[:, at])
