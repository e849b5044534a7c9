"""People crossed with conditions: whether all people change alike from one to the next.

The design of a gauge study: every person under every condition, several repetitions of each. What
is called a part there is a person here, an operator is a condition.

Source: the two-way random analysis of variance with interaction (AIAG, Measurement Systems
Analysis, common practice); a component below zero is told as such.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import StudyError

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Crossed:
    """Variance components of a complete crossed design, as the mean squares give them.

    Attributes:
        people: Between people.
        conditions: Between conditions, the same for everybody.
        together: Of the conditions from person to person (interaction).
        repetition: Within a person and condition.
        shape: How many people, conditions, and repetitions of each.
    """

    people: float
    conditions: float
    together: float
    repetition: float
    shape: tuple[int, int, int]

    @property
    def unlike_percent(self) -> float:
        """Share of the interaction in what is not people: 0 if all people change alike."""
        parts = [max(0.0, one) for one in (self.conditions, self.together, self.repetition)]
        return 100.0 * parts[1] / sum(parts) if sum(parts) > 0.0 else 0.0


def crossed(table: Floats) -> Crossed:
    """Return the components of a table (people, conditions, repetitions) without gaps.

    Raises:
        StudyError: It has gaps, or fewer than two of anything.
    """
    if min(table.shape, default=0) < 2 or not np.isfinite(table).all():
        raise StudyError("needs two people, conditions and repetitions or more, without gaps")
    p, c, n = table.shape
    cells, centre = table.mean(axis=2), table.mean()
    people, conditions = table.mean(axis=(1, 2)), cells.mean(axis=0)
    ms_people = c * n * float(np.sum((people - centre) ** 2)) / (p - 1)
    ms_conditions = p * n * float(np.sum((conditions - centre) ** 2)) / (c - 1)
    rest = cells - people[:, np.newaxis] - conditions + centre
    ms_together = n * float(np.sum(rest**2)) / ((p - 1) * (c - 1))
    ms_error = float(np.sum((table - cells[:, :, np.newaxis]) ** 2)) / (p * c * (n - 1))
    return Crossed(
        people=(ms_people - ms_together) / (c * n),
        conditions=(ms_conditions - ms_together) / (p * n),
        together=(ms_together - ms_error) / n,
        repetition=ms_error,
        shape=(p, c, n),
    )


def crossed_table(values: Iterable[tuple[str, str, float]]) -> Floats:
    """Return the complete table of (person, condition, value), shape as `crossed` takes it.

    It has the conditions that most people share, and of each cell the last repetitions, as many
    as every cell has: the first of a condition are the ones that get used to it.
    """
    cells: dict[str, dict[str, list[float]]] = {}
    for person, condition, value in values:
        if np.isfinite(value):
            cells.setdefault(person, {}).setdefault(condition, []).append(value)
    names = sorted({condition for own in cells.values() for condition in own})
    people = [own for _, own in sorted(cells.items()) if all(name in own for name in names)]
    count = min((len(own[name]) for own in people for name in names), default=0)
    rows = [[own[name][-count:] for name in names] for own in people]
    return np.array(rows, dtype=np.float64).reshape(len(people), len(names), count)
