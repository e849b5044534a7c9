"""Where along the arc two sets of curves differ: statistical parametric mapping in one dimension.

A test at each point of a curve would find something in most pairs of equal sets; this one asks how
high the greatest of a smooth field of t values goes by chance (Friston et al. 1995; in one
dimension Pataky 2010, J Biomech 43:1976). The threshold comes from random field theory, which
supposes normal, smooth residuals, or from permutations, which supposes only that the labels could
have been swapped. The library spm1d does it; it is an extra, loaded here when it is asked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.runs import runs_of

Floats = NDArray[np.float64]

LEAST_CURVES = 5
"""Of fewer curves the smoothness of the residuals is a guess. Ours."""
LEAST_BINS = 8
"""On a shorter part of the arc there is hardly a curve. Ours."""
MOST_PERMUTATIONS = 2000
"""Of more a sample is drawn: the error of a chance of 0.05 is then 0.005."""


class Method(StrEnum):
    """Where the threshold comes from."""

    FIELD = "random field theory"
    PERMUTATION = "permutation"


@dataclass(frozen=True, slots=True)
class Cluster:
    """A stretch of the arc on which two sets differ.

    Attributes:
        from_deg: Its lower end.
        to_deg: Its upper end.
        p: Chance of one as large, anywhere on the arc, if they do not differ.
        higher: The second set lies above the first.
    """

    from_deg: float
    to_deg: float
    p: float
    higher: bool


@dataclass(frozen=True, slots=True)
class CurveTest:
    """A test along the arc.

    Attributes:
        method: Where the threshold comes from.
        paired: Curves were compared in pairs.
        counts: How many curves of each set.
        alpha: Chance of any cluster if the sets do not differ.
        elevation_deg: Shape (points,), the part of the arc that was tested.
        t: Shape (points,), + where the second set lies above.
        threshold: What |t| must exceed.
        degrees: Of freedom; None for permutations.
        width_deg: How wide the residuals hang together (full width at half maximum); None
            likewise.
        clusters: Where it does, from the lower end of the arc.
    """

    method: Method
    paired: bool
    counts: tuple[int, int]
    alpha: float
    elevation_deg: Floats
    t: Floats
    threshold: float
    degrees: float | None
    width_deg: float | None
    clusters: tuple[Cluster, ...]


@dataclass(frozen=True, slots=True)
class NoTest:
    """There is no test, for a reason fit for people."""

    reason: str


def compare_curves(
    first: Floats,
    second: Floats,
    elevation_deg: Floats,
    *,
    paired: bool = False,
    alpha: float = 0.05,
    method: Method = Method.FIELD,
    seed: int = 0,
) -> CurveTest | NoTest:
    """Return where the second set of curves differs from the first, or why that cannot be told.

    Args:
        first: Shape (curves, bins), one independent curve in each row; NaN where not known.
        second: Likewise; *paired* with the rows of the first.
        elevation_deg: Shape (bins,), middles of evenly spaced bins.
        paired: The rows of both belong to the same people.
        alpha: Chance of finding anything where nothing is.
        method: Where the threshold comes from.
        seed: For permutations, if there are too many to go through.
    """
    if paired and len(first) != len(second):
        return NoTest(f"{len(first)} and {len(second)} curves make no pairs")
    few = min(len(first), len(second))
    if few < LEAST_CURVES:
        return NoTest(f"too few curves ({few}): at least {LEAST_CURVES} of each set are needed")
    part = _common(np.concatenate([first, second]))
    if part.stop - part.start < LEAST_BINS:
        return NoTest("the curves have too little of the arc in common")
    one, two = first[:, part], second[:, part]
    if not _all_vary(one, two, paired=paired):
        return NoTest("at a part of the arc the curves of a set do not differ at all")
    if method is Method.PERMUTATION and _permutations(one, two, paired=paired) * alpha < 2.0:
        return NoTest(
            f"{len(first)} and {len(second)} curves can be swapped in too few ways for a chance "
            f"as small as {alpha:g}"
        )
    try:
        return _tested(one, two, elevation_deg[part], paired, alpha, method, seed)
    except ModuleNotFoundError as cause:
        return NoTest(f"{cause.name} is not installed: install perpend with its study extra")


def _common(curves: Floats) -> slice:
    """Return the longest part of the arc that every curve has."""
    runs = runs_of(np.asarray(np.isfinite(curves).all(axis=0)))
    start, stop = max(runs, key=lambda run: run[1] - run[0], default=(0, 0))
    return slice(start, stop)


def _all_vary(first: Floats, second: Floats, *, paired: bool) -> bool:
    sets = [second - first] if paired else [first, second]
    return all(bool((one.var(axis=0) > 0.0).all()) for one in sets)


def _permutations(first: Floats, second: Floats, *, paired: bool) -> int:
    count = len(first)
    return int(2**count) if paired else math.comb(count + len(second), count)


def _tested(
    first: Floats,
    second: Floats,
    at: Floats,
    paired: bool,
    alpha: float,
    method: Method,
    seed: int,
) -> CurveTest:
    import spm1d

    # Only the parametric form lets the two sets have different variances.
    by_field = method is Method.FIELD
    home = spm1d.stats if by_field else spm1d.stats.nonparam
    if paired:
        field = home.ttest_paired(second, first)
    elif by_field:
        field = home.ttest2(second, first, equal_var=False)
    else:
        field = home.ttest2(second, first)
    if by_field:
        found = field.inference(alpha, two_tailed=True, interp=True)
    else:
        ways = _permutations(first, second, paired=paired)
        with _seeded(seed):
            found = field.inference(
                alpha, two_tailed=True, iterations=-1 if ways <= MOST_PERMUTATIONS else
                MOST_PERMUTATIONS,
            )  # fmt: skip
    step = float(at[1] - at[0])
    return CurveTest(
        method=method,
        paired=paired,
        counts=(len(first), len(second)),
        alpha=alpha,
        elevation_deg=at,
        t=np.asarray(found.z, dtype=np.float64).ravel(),
        threshold=float(found.zstar),
        degrees=float(found.df[1]) if by_field else None,
        width_deg=float(found.fwhm) * step if by_field else None,
        clusters=tuple(_cluster(one, float(at[0]), step) for one in found.clusters),
    )


def _cluster(one: Any, start_deg: float, step_deg: float) -> Cluster:
    low, high = (start_deg + float(node) * step_deg for node in one.endpoints)
    return Cluster(low, high, float(one.P), higher=bool(one.csign > 0))


@contextmanager
def _seeded(seed: int) -> Iterator[None]:
    """Seed the random numbers that spm1d draws, and leave them as they were for others."""
    before = np.random.get_state()  # noqa: NPY002 - the library knows no other
    np.random.seed(seed)  # noqa: NPY002, TID251 - likewise
    try:
        yield
    finally:
        np.random.set_state(before)  # noqa: NPY002 - likewise
