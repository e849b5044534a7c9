"""How far a mean or a slope may be off when samples hang together, nobody knows for how long.

A hand's push a moment later is much like the push now. How long it remembers is not known, and
a stretch of a few seconds hardly tells. So every memory is allowed for: the noise is one that
forgets exponentially (first order, Ornstein–Uhlenbeck) with a memory τ between 0.4 % and all of
the stretch, each octave as likely beforehand, of any size. What is looked at are the stretch's
lowest waves alone, level and straight line taken out (Müller 2014, J Bus Econ Stat 32:311, on
means of strongly autocorrelated series): faster trembling says nothing about a mean. Given τ the
error of the mean has Student's distribution; τ is averaged over with its likelihood. The interval
then is as wide as what is *not* known of τ demands, where one chosen block length or one
estimated memory is too sure of itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

CELLS = 64
"""A stretch is looked at as so many means in a row: five for each of the fastest waves' swings."""
WAVES = 24
"""So many half waves in a stretch, and slower: in six seconds 2 Hz. Fewer widen an interval by
what they do not tell, more would see the low-pass of the force. Ours, by simulation."""
MEMORIES = np.geomspace(0.004, 1.0, 20)
"""Memories that are allowed for, as shares of the stretch."""
LEAST_EFFECTIVE = 3.0
"""Fewer independent values than this tell no interval worth having. Ours."""
NEVER_CHANGED = 1e-9
"""Cells that differ by less than this share of their size never changed."""
FAINT = 1e-12
"""A wave so much fainter than another does not change it."""
SURE = 2.0 / 3.0
"""So likely it must be that they are fewer. Ours."""
LEAST_S = 2.0
"""Below it the waves that are looked at would be those that the low-pass of the force takes."""
TOO_SHORT = (
    f"it changes so slowly that the phase holds fewer than {LEAST_EFFECTIVE:g} independent values"
)
CONSTANT = "it never changed, which does not tell how sure it is"
UPPER = 0.975
MOST_STEPS = 40
PRECISE = 1e-9
"""Of the search for a quantile: ends as soon as a step is smaller than this share of it."""


@dataclass(frozen=True, slots=True)
class Reach:
    """How far k means or slopes may be off.

    Attributes:
        half_width: Shape (k,), of the 95 % interval; 0 where nothing ever changed.
        too_short: Shape (k,), the stretch very likely holds fewer than `LEAST_EFFECTIVE`
            independent values.
        constant: Shape (k,), nothing ever changed.
    """

    half_width: Floats
    too_short: Flags
    constant: Flags


def too_few_to_tell(count: int, fs_hz: float) -> str:
    """Return why so many samples are too few for an interval, empty if they are not."""
    few = count < max(LEAST_S * fs_hz, CELLS)
    return f"there are less than {LEAST_S:g} s to go by" if few else ""


def cell_means(rows: Floats) -> Floats:
    """Return the means of `CELLS` consecutive equal parts of a stretch (n, …).

    Raises:
        ValueError: It has fewer samples than that.
    """
    count = len(rows)
    if count < CELLS:
        raise ValueError(f"{count} samples are fewer than {CELLS} cells")
    edge = np.arange(CELLS) * count / CELLS
    first = edge.astype(np.int64)
    # A sample on an edge belongs to both cells, by its parts: a straight line stays straight.
    before = rows[first].T * (edge - first)
    within = np.add.reduceat(rows, first, axis=0).T - before
    within[..., :-1] += before[..., 1:]
    return np.asarray(within.T * (CELLS / count))


def reach_of_means(cells: Floats, way: Floats | None = None) -> Reach:
    """Return how far the means of k stretches may lie from what they would be in the long run.

    A change along a straight line in time belongs to a stretch and does not count as being off.

    Args:
        cells: Shape (k, CELLS), `cell_means` of each.
        way: Shape (CELLS,), what else they may change along: the elevation.
    """
    model = _model() if way is None else _model_beside(way.tobytes())
    return model.reach(cells, model.of_means)


def reach_of_slope(x: Floats, y: Floats, slope: float) -> Reach:
    """Return how far a slope of *y* against *x*, each (CELLS,), may be off; k is 1.

    Raises:
        ValueError: *x* never changes.
    """
    away = x - x.mean()
    spread = float(np.sum(away**2))
    if not spread > 0.0:
        raise ValueError("a slope needs two different values of x")
    model, weight = _model_beside(x.tobytes()), away / spread
    # Not products of matrices: those wake the threads of the linear algebra.
    seen = np.einsum("gcd,d->gc", model.covariance, weight)
    variance = np.einsum("gc,c->g", seen, weight)
    return model.reach((y - slope * x)[np.newaxis], variance)


@dataclass(frozen=True)
class _Model:
    """Noise of each memory, seen through the lowest waves.

    Attributes:
        covariance: Shape (g, CELLS, CELLS), of the cells of noise of SD 1, for each memory.
        waves: Shape (w, CELLS), level, straight line and way are not in them.
        precision: Shape (g, w, w), inverse of the waves' covariance, for each memory.
        log_size: Shape (g,), half the logarithm of that covariance's determinant.
    """

    covariance: Floats
    waves: Floats
    precision: Floats
    log_size: Floats

    @cached_property
    def of_means(self) -> Floats:
        """Variance of the mean of a stretch of noise of SD 1, shape (g,)."""
        return np.asarray(self.covariance.mean(axis=(1, 2)))

    def reach(self, cells: Floats, variance: Floats) -> Reach:
        """Return how far linear functions of cells (k, CELLS) may be off.

        Args:
            cells: Of what is left when the function itself is taken out.
            variance: Shape (g,), the function's for noise of SD 1.
        """
        seen = np.einsum("wc,kc->kw", self.waves, cells)
        power = np.einsum("kgv,kv->kg", np.einsum("gvw,kw->kgv", self.precision, seen), seen)
        power = np.maximum(power, np.finfo(np.float64).tiny) / WAVES
        size = np.sqrt(np.mean(cells**2, axis=1)) * NEVER_CHANGED
        constant = np.ptp(cells, axis=1) <= size
        power[constant] = 1.0
        likely = -self.log_size - WAVES / 2.0 * np.log(power)
        likely = np.exp(likely - likely.max(axis=1, keepdims=True))
        likely /= likely.sum(axis=1, keepdims=True)
        half = _quantile(likely, np.sqrt(power * variance))
        few = self.of_means > 1.0 / LEAST_EFFECTIVE
        return Reach(
            half_width=np.where(constant, 0.0, half),
            too_short=np.asarray(likely[:, few].sum(axis=1) > SURE) & ~constant,
            constant=np.asarray(constant),
        )


def _quantile(likely: Floats, scale: Floats) -> Floats:
    """Return the 97.5 % quantiles (k,) of mixtures of Student's t, weights and scales (k, g).

    By Newton's steps from that of one t of the same spread. On this side the distribution bends
    one way only: from below no step goes too far, and one from above is held to a half.
    """
    found = float(special.stdtrit(WAVES, UPPER)) * np.sqrt(np.sum(likely * scale**2, axis=1))
    table = _student()
    for _ in range(MOST_STEPS):
        at = found[:, np.newaxis] / scale
        missing = UPPER - np.sum(likely * np.interp(at, table.at, table.below), axis=1)
        step = missing / np.sum(likely / scale * np.interp(at, table.at, table.density), axis=1)
        found = np.maximum(found + step, found / 2.0)
        if (np.abs(step) <= PRECISE * found).all():
            break
    return np.asarray(found)


@dataclass(frozen=True, slots=True)
class _Student:
    """Student's distribution on `WAVES` degrees of freedom as a table; shapes (n,)."""

    at: Floats
    below: Floats
    density: Floats


@lru_cache(maxsize=1)
def _student() -> _Student:
    at = np.linspace(0.0, 12.0, 4001)  # beyond it nothing is left to eleven digits
    below = special.stdtr(WAVES, at)
    return _Student(at, below, np.gradient(below, at))


@lru_cache(maxsize=1)
def _model() -> _Model:
    """Return the model for what may change along a straight line."""
    covariance = np.array([_covariance(memory) for memory in MEMORIES])
    waves = _waves()[:WAVES]
    seen = waves @ covariance @ waves.T
    return _Model(covariance, waves, np.linalg.inv(seen), np.linalg.slogdet(seen)[1] / 2.0)


@lru_cache(maxsize=4)  # the families of a phase mostly share their samples
def _model_beside(way: bytes) -> _Model:
    """Return the model for what may change along a way, (CELLS,) as bytes, too.

    What the waves do not show of the way is one wave more, and the way is taken out of them all:
    two steps from the inverse that is there, many times faster than another.
    """
    plain = _model()
    off = _without_line(np.frombuffer(way))
    if np.ptp(off) <= NEVER_CHANGED * np.abs(np.frombuffer(way)).max():
        return plain
    along = _unit(off)
    low = np.einsum("wc,c->w", plain.waves, along)
    # If the waves show all of it, the next higher one is one more.
    rest = along - np.einsum("w,wc->c", low, plain.waves) + FAINT * _waves()[WAVES]
    more = _unit(rest)
    through = np.einsum("gcd,d->gc", plain.covariance, more)
    border = np.einsum("wc,gc->gw", plain.waves, through)
    solved = np.einsum("gvw,gw->gv", plain.precision, border)
    beyond = np.einsum("gc,c->g", through, more) - np.einsum("gw,gw->g", solved, border)
    precision = np.zeros((len(beyond), WAVES + 1, WAVES + 1))
    precision[:, :WAVES, :WAVES] = plain.precision
    step = np.concatenate([-solved, np.ones((len(beyond), 1))], axis=1)
    precision += _squared(step) / beyond[:, np.newaxis, np.newaxis]
    way_seen = np.append(low, np.sum(along * more))
    taken = np.einsum("gvw,w->gv", precision, way_seen)
    size = np.einsum("gv,v->g", taken, way_seen)
    waves = np.vstack([plain.waves, more])
    return _Model(
        covariance=plain.covariance,
        waves=waves - np.multiply.outer(way_seen, np.einsum("w,wc->c", way_seen, waves)),
        precision=precision - _squared(taken) / size[:, np.newaxis, np.newaxis],
        log_size=plain.log_size + np.log(beyond * size) / 2.0,
    )


@lru_cache(maxsize=1)
def _waves() -> Floats:
    """Return one wave more than are looked at, orthonormal, without level and straight line."""
    half_waves = np.arange(1, WAVES + 2)[:, np.newaxis]
    basis = np.vstack([_line(), np.cos(np.pi * half_waves * _line()[1])])
    return np.linalg.qr(basis.T)[0][:, 2:].T


def _line() -> Floats:
    """Return level and straight line over the cells, (2, CELLS)."""
    return np.array([np.ones(CELLS), (np.arange(CELLS) + 0.5) / CELLS])


def _without_line(way: Floats) -> Floats:
    middle = _line()[1] - 0.5
    off = way - way.mean()
    return np.asarray(off - np.sum(off * middle) / np.sum(middle**2) * middle)


def _squared(vectors: Floats) -> Floats:
    """Return v·vᵀ of each of (g, w), (g, w, w)."""
    return vectors[:, :, np.newaxis] * vectors[:, np.newaxis]


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.sqrt(np.sum(vector**2)))


def _covariance(memory: float) -> Floats:
    """Return the covariance of cells of noise whose autocorrelation is exp(−lag/memory), exact."""
    cell = 1.0 / (CELLS * memory)
    lag = np.abs(np.subtract.outer(np.arange(CELLS), np.arange(CELLS)))
    itself = 2.0 * (cell - 1.0 + np.exp(-cell)) / cell**2
    others = ((1.0 - np.exp(-cell)) / cell) ** 2 * np.exp(-(np.maximum(lag, 1) - 1) * cell)
    return np.asarray(np.where(lag == 0, itself, others))
