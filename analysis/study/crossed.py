"""People crossed with conditions: whether all people change alike from one to the next.

The design of a gauge study: every person under every condition, several repetitions of each. What
is called a part there is a person here, an operator is a condition.

Source: the two-way random analysis of variance with interaction (AIAG, Measurement Systems
Analysis, common practice); a component below zero is told as such.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

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


@dataclass(frozen=True, slots=True)
class CrossedTable:
    """A complete table of people by conditions.

    Attributes:
        values: Shape (people, conditions, repetitions).
        conditions: Their names, in order.
        left_out: People who lack one of them.
    """

    values: Floats
    conditions: tuple[str, ...]
    left_out: tuple[str, ...]


def crossed_table(values: Iterable[tuple[str, str, float]]) -> CrossedTable:
    """Return the complete table of (person, condition, value).

    It has the conditions that most people share (as many cells as can be filled), and of each cell
    the last repetitions, as many as every cell has, two at least: the first of a condition are the
    ones that get used to it.
    """
    gathered: dict[str, dict[str, list[float]]] = {}
    for person, condition, value in values:
        if np.isfinite(value):
            gathered.setdefault(person, {}).setdefault(condition, []).append(value)
    cells = {
        person: {name: own for name, own in by.items() if len(own) >= LEAST_EACH}
        for person, by in sorted(gathered.items())
    }
    names = _shared(list(cells.values()))
    people = [person for person, own in cells.items() if names and set(names) <= own.keys()]
    count = min((len(cells[person][name]) for person in people for name in names), default=0)
    rows = [[cells[person][name][-count:] for name in names] for person in people]
    return CrossedTable(
        values=np.array(rows, dtype=np.float64).reshape(len(people), len(names), count),
        conditions=names,
        left_out=tuple(person for person in cells if person not in people),
    )


LEAST_EACH = 2
MOST_NAMES = 8
"""So many of the commonest conditions are tried against each other."""


def _shared(cells: Sequence[Mapping[str, object]]) -> tuple[str, ...]:
    """Return the conditions whose table has the most cells; of equals more conditions."""
    often = Counter(name for own in cells for name in sorted(own))
    names = sorted(name for name, _ in often.most_common(MOST_NAMES))
    choices = [some for k in range(2, len(names) + 1) for some in combinations(names, k)]

    def filled(some: tuple[str, ...]) -> tuple[bool, int, int]:
        people = sum(set(some) <= own.keys() for own in cells)
        return people > 1, people * len(some), len(some)

    return max(choices, key=filled, default=())
