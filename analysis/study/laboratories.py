"""Repeatability and reproducibility between operators who measured the same (ISO 5725-2, -3).

What the standard calls a laboratory is an operator here, a level is a condition: the same task
done by every operator several times. Mandel's h tells an operator whose mean stands apart, k one
who repeats worse than the others.

Repeatability is of the same conditions in a short time, so of one session; an operator's results
of different sessions have an intermediate precision.

Sources: ISO 5725-2:2019, clause 7 (the same model as ASTM E691); ISO 5725-3 for results of
different days, as a nested design.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.errors import StudyError
from analysis.study.variance import Components

Floats = NDArray[np.float64]

ALPHA = 0.01
"""Mandel's lines are drawn here: 1 % (ISO 5725-2)."""
FACTOR = 2.8
"""1.96 √2: two single results differ by more in 1 of 20 cases."""


@dataclass(frozen=True, slots=True)
class Operator:
    """One operator at one level.

    Attributes:
        name: Code.
        mean: Of the results.
        sd: Of the results.
        h: How many SDs of the means its mean lies off; None if all means are the same.
        k: Its SD over that of all; None if nobody's results differ.
    """

    name: str
    mean: float
    sd: float
    h: float | None
    k: float | None


@dataclass(frozen=True, slots=True)
class Precision:
    """The precision of a measure at one level.

    Attributes:
        mean: General mean.
        repeatability_sd: Within operators and sessions, s_r.
        intermediate_sd: Within operators over their sessions; None if nobody had two.
        between_sd: Between operators, s_L; 0 where the estimate of its square is below zero.
        between_negative: It was.
        reproducibility_sd: Of single results of different operators, s_R.
        h_limit: |h| above this is an operator who stands apart (1 %).
        k_limit: k above this is one who repeats badly (1 %).
        operators: In order of their names.
    """

    mean: float
    repeatability_sd: float
    intermediate_sd: float | None
    between_sd: float
    between_negative: bool
    reproducibility_sd: float
    h_limit: float
    k_limit: float
    operators: tuple[Operator, ...]

    @property
    def repeatability_limit(self) -> float:
        """Two results of one operator differ by more in 1 of 20 cases, r."""
        return FACTOR * self.repeatability_sd

    @property
    def intermediate_limit(self) -> float | None:
        """Two results of one operator on different days differ by more in 1 of 20 cases."""
        return None if self.intermediate_sd is None else FACTOR * self.intermediate_sd

    @property
    def reproducibility_limit(self) -> float:
        """Two results of different operators differ by more in 1 of 20 cases, R."""
        return FACTOR * self.reproducibility_sd


def precision(results: Mapping[str, Sequence[float]]) -> Precision:
    """Return repeatability and reproducibility at one level, all results of one session.

    Args:
        results: Of each operator; equally many or not, NaN is left out.

    Raises:
        StudyError: Fewer than two operators have two results or more.
    """
    known = {name: _known(values) for name, values in sorted(results.items())}
    given = {name: values for name, values in known.items() if len(values) > 1}
    if len(given) < 2:
        raise StudyError("precision needs two operators or more with two results each")
    counts = np.array([len(values) for values in given.values()], dtype=np.float64)
    means = np.array([values.mean() for values in given.values()])
    variances = np.array([values.var(ddof=1) for values in given.values()])
    within = float(np.sum((counts - 1) * variances) / np.sum(counts - 1))
    total, operators = float(counts.sum()), len(given)
    general = float(np.sum(counts * means) / total)
    # The standard's n̄̄: equal to n where everyone has n results.
    each = (total - float(np.sum(counts**2)) / total) / (operators - 1)
    spread = float(np.sum(counts * (means - general) ** 2)) / (operators - 1)
    between = (spread - within) / each
    return Precision(
        mean=general,
        repeatability_sd=float(np.sqrt(within)),
        intermediate_sd=None,
        between_sd=float(np.sqrt(max(0.0, between))),
        between_negative=between < 0.0,
        reproducibility_sd=float(np.sqrt(max(0.0, between) + within)),
        h_limit=h_limit(operators),
        k_limit=k_limit(operators, round(float(counts.mean()))),
        operators=tuple(_operators(list(given), means, np.sqrt(variances), within)),
    )


def nested_precision(
    results: Mapping[str, Mapping[int, Sequence[float]]], found: Components
) -> Precision:
    """Return precision over sessions: repeatability within them, intermediate precision over them.

    Args:
        results: Of each operator and session; NaN is left out.
        found: The variance components of the same results.

    Raises:
        StudyError: Fewer than two operators have two results in a session.
    """
    means, sds, freedom = {}, [], []
    for name, sessions in sorted(results.items()):
        known = [one for one in map(_known, sessions.values()) if len(one)]
        inside = sum(len(one) - 1 for one in known)
        if inside:
            means[name] = float(np.mean([one.mean() for one in known]))
            squares = sum(float(np.sum((one - one.mean()) ** 2)) for one in known)
            sds.append(float(np.sqrt(squares / inside)))
            freedom.append(inside)
    if len(means) < 2:
        raise StudyError("precision needs two operators or more with two results in a session")
    within = found.repetition.variance
    return Precision(
        mean=found.mean,
        repeatability_sd=found.repeatability_sd,
        intermediate_sd=None if found.session is None else found.intermediate_sd,
        between_sd=float(np.sqrt(found.person.variance)),
        between_negative=found.person.negative,
        reproducibility_sd=found.reproducibility_sd,
        h_limit=h_limit(len(means)),
        k_limit=k_limit(len(means), 1 + round(float(np.mean(freedom)))),
        operators=tuple(
            _operators(list(means), np.array(list(means.values())), np.array(sds), within)
        ),
    )


def h_limit(operators: int, alpha: float = ALPHA) -> float:
    """Return the critical value of Mandel's h, two-sided."""
    t = float(stats.t.ppf(1.0 - alpha / 2.0, operators - 2)) if operators > 2 else np.inf
    if not np.isfinite(t):
        return float("inf")
    return float((operators - 1) * t / np.sqrt(operators * (t**2 + operators - 2)))


def k_limit(operators: int, results: int, alpha: float = ALPHA) -> float:
    """Return the critical value of Mandel's k."""
    f = stats.f.ppf(1.0 - alpha, results - 1, (operators - 1) * (results - 1))
    return float(np.sqrt(operators / (1.0 + (operators - 1) / f)))


def _known(values: Sequence[float]) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    return np.asarray(array[np.isfinite(array)])


def _operators(names: list[str], means: Floats, sds: Floats, within: float) -> list[Operator]:
    apart = float(means.std(ddof=1))
    return [
        Operator(
            name=name,
            mean=float(mean),
            sd=float(sd),
            h=float((mean - means.mean()) / apart) if apart > 0.0 else None,
            k=float(sd / np.sqrt(within)) if within > 0.0 else None,
        )
        for name, mean, sd in zip(names, means, sds, strict=True)
    ]
