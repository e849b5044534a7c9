"""How a person learns: a curve over the repetitions practised, and what stays without the screen.

The model: value = plateau + rest · exp(−(n − 1) / pace), n the repetitions practised, by least
squares. It is told only where it explains the values better than their mean alone (Akaike's
criterion, corrected for few values); few repetitions and no learning look alike, and are told so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from analysis.comparison.effect_sizes import Difference, difference
from analysis.tidy.practice import PRACTICE, RETENTION, TRANSFER

Floats = NDArray[np.float64]

LEVEL = 0.95
LEAST_VALUES = 8
"""Three parameters and a spread want more than a handful. Ours."""
LAST = 5
"""So many last repetitions of practice are what retention and transfer are held against. Ours: a
block."""
PACES = (0.5, 4.0)
"""The pace is looked for from half a repetition to so many times all of them."""
BETTER = 2.0
"""The curve must better the mean's criterion by so much (common practice)."""


@dataclass(frozen=True, slots=True)
class Curve:
    """A fitted learning curve.

    Attributes:
        plateau: Where practice leads to.
        gain: From the first repetition to the plateau.
        pace: Repetitions in which 63 % of the way is gone.
        residual_sd: What the curve does not explain.
        at: Shape (k,), repetitions practised.
        value: Shape (k,), of the curve there.
        low: Shape (k,), lower end of its 95 % interval (to first order).
        high: Shape (k,), upper end.
    """

    plateau: float
    gain: float
    pace: float
    residual_sd: float
    at: Floats
    value: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Learning:
    """What is known of one person's learning of one measure.

    Attributes:
        person: Code.
        practised: Shape (n,), repetitions of practice so far, this one too.
        values: Shape (n,), the measure.
        curve: Fitted, None if there is none to be told.
        reason: Why there is none; empty otherwise.
        retention: Retention test minus the last of practice, None if there is none.
        transfer: Transfer test minus the same, None likewise.
    """

    person: str
    practised: Floats
    values: Floats
    curve: Curve | None
    reason: str
    retention: Difference | None
    transfer: Difference | None


@dataclass(frozen=True, slots=True)
class Tried:
    """One repetition as learning sees it: its role, how much was practised, its value."""

    role: str
    practised: int
    value: float


def learning_of(person: str, tried: Sequence[Tried]) -> Learning:
    """Return what a person learned.

    Args:
        person: Code.
        tried: Repetitions in order of time; a value that is not known is NaN and left out.
    """
    known = [one for one in tried if np.isfinite(one.value)]
    practice = [one for one in known if one.role == PRACTICE]
    at = np.array([float(one.practised) for one in practice])
    values = np.array([one.value for one in practice])
    curve, reason = fitted(at, values)
    return Learning(
        person, at, values, curve, reason,
        retention=_test(known, values, RETENTION),
        transfer=_test(known, values, TRANSFER),
    )  # fmt: skip


def fitted(at: Floats, values: Floats) -> tuple[Curve | None, str]:
    """Return the curve of values (n,) over repetitions practised (n,), or why there is none."""
    if len(values) < LEAST_VALUES:
        return None, f"{len(values)} repetitions are too few for a curve (at least {LEAST_VALUES})"
    if np.ptp(values) == 0.0 or np.ptp(at) == 0.0:
        return None, "the values do not change"
    found = _least_squares(at, values)
    flat = float(np.sum((values - values.mean()) ** 2))
    bent = float(2.0 * found.cost)
    if _aicc(flat, len(values), 1) - _aicc(bent, len(values), 3) < BETTER:
        return None, "no learning to be told from chance"
    return _curve(at, values, found.x, found.jac), ""


def _model(parameters: Floats, at: Floats) -> Floats:
    plateau, rest, pace = parameters
    return np.asarray(plateau + rest * np.exp(-(at - 1.0) / pace))


def _gradient(parameters: Floats, at: Floats) -> Floats:
    _, rest, pace = parameters
    fall = np.exp(-(at - 1.0) / pace)
    return np.stack([np.ones_like(at), fall, rest * fall * (at - 1.0) / pace**2], axis=1)


def _least_squares(at: Floats, values: Floats) -> Any:
    """Return the best of several beginnings: the sum has more than one valley."""
    tail = values[-max(1, len(values) // 4) :].mean()
    longest = PACES[1] * float(at.max())
    starts = [(tail, values[0] - tail, pace) for pace in np.geomspace(1.0, longest / 2, 5)]
    bounds = ([-np.inf, -np.inf, PACES[0]], [np.inf, np.inf, longest])
    scale = [abs(tail) + 1e-9, float(np.ptp(values)), float(at.max())]

    def off(parameters: Floats) -> Floats:
        return _model(parameters, at) - values

    def slope(parameters: Floats) -> Floats:
        return _gradient(parameters, at)

    runs = [
        optimize.least_squares(off, start, jac=slope, bounds=bounds, x_scale=scale)
        for start in starts
    ]
    return min(runs, key=lambda run: float(run.cost))


def _aicc(squares: float, count: int, parameters: int) -> float:
    k = parameters + 1  # the spread is one too
    return count * float(np.log(max(squares, 1e-300) / count)) + 2 * k * count / (count - k - 1)


def _curve(at: Floats, values: Floats, parameters: Floats, jacobian: Floats) -> Curve:
    freedom = len(values) - 3
    sd = float(np.sqrt(np.sum((_model(parameters, at) - values) ** 2) / freedom))
    covariance = sd**2 * np.linalg.pinv(jacobian.T @ jacobian)
    grid = np.linspace(float(at.min()), float(at.max()), 60)
    slopes = _gradient(parameters, grid)
    u = np.sqrt(np.einsum("ij,jk,ik->i", slopes, covariance, slopes))
    reach = float(stats.t.ppf((1.0 + LEVEL) / 2.0, freedom)) * u
    value = _model(parameters, grid)
    return Curve(
        plateau=float(parameters[0]),
        gain=-float(parameters[1]),
        pace=float(parameters[2]),
        residual_sd=sd,
        at=grid,
        value=value,
        low=value - reach,
        high=value + reach,
    )


def _test(known: Sequence[Tried], practice: Floats, role: str) -> Difference | None:
    tested = [one.value for one in known if one.role == role]
    try:
        return difference(practice[-LAST:], tested)
    except ValueError:  # too few, or no spread
        return None
