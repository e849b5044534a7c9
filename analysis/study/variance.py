"""Where the variability of a measure lies: between people, their sessions, or repetitions.

The model: y = mean + person + session of the person + repetition, all but the mean random.
Mean squares come first: they have a closed form, and an estimate below zero shows as one. The
mixed model (restricted maximum likelihood) stands beside them; where the design is balanced and
nothing is below zero both are equal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.errors import StudyError
from analysis.study.mixed import PERSON, REPETITION, SESSION, Groups, variances

Floats = NDArray[np.float64]

LEVEL = 0.95
ROUNDED = 1e-9
"""An SD smaller than this, relative to the mean, is what rounding leaves of none."""
TAILS = ((1 - LEVEL) / 2, (1 + LEVEL) / 2)


@dataclass(frozen=True, slots=True)
class Component:
    """One part of the variance.

    Attributes:
        name: ``person``, ``session`` or ``repetition``.
        estimate: As the mean squares give it; below zero where the part is too small to see.
        low: Lower limit of the 95 % interval, not below zero; approximate if unbalanced.
        high: Upper limit.
        reml: As the mixed model gives it, 0 included; None if it gives nothing.
    """

    name: str
    estimate: float
    low: float
    high: float
    reml: float | None

    @property
    def variance(self) -> float:
        """The estimate, not below zero."""
        return max(0.0, self.estimate)

    @property
    def negative(self) -> bool:
        """Whether the estimate lies below zero, to be told beside the 0."""
        return self.estimate < 0.0


@dataclass(frozen=True, slots=True)
class Components:
    """The parts of the variance of one measure.

    Attributes:
        mean: Of all values.
        person: Between people.
        session: Between sessions of one person; None if nobody had two.
        repetition: Within a session.
        people: How many.
        sessions: Of all together.
        values: Of all together.
        balanced: Everyone had equally many sessions of equally many repetitions.
        reml_reason: Why the mixed model gives nothing; empty if it does.
    """

    mean: float
    person: Component
    session: Component | None
    repetition: Component
    people: int
    sessions: int
    values: int
    balanced: bool
    reml_reason: str

    @property
    def parts(self) -> tuple[Component, ...]:
        """Those that there are, from people to repetitions."""
        return tuple(one for one in (self.person, self.session, self.repetition) if one)

    @property
    def varies(self) -> bool:
        """Whether the values differ by more than rounding."""
        return sum(one.variance for one in self.parts) > (ROUNDED * max(1.0, abs(self.mean))) ** 2

    @property
    def repeatability_sd(self) -> float:
        """SD of one person's repetitions in one session (ISO 5725-1)."""
        return float(np.sqrt(self.repetition.variance))

    @property
    def intermediate_sd(self) -> float:
        """SD of one person's repetitions on different days (ISO 5725-3)."""
        between = self.session.variance if self.session else 0.0
        return float(np.sqrt(self.repetition.variance + between))

    @property
    def reproducibility_sd(self) -> float:
        """SD of repetitions of different people (ISO 5725-1)."""
        return float(np.sqrt(sum(one.variance for one in self.parts)))

    def share_percent(self, part: Component) -> float:
        """Return how much of the whole variance a part is; 0 if there is none at all."""
        total = sum(one.variance for one in self.parts)
        return 100.0 * part.variance / total if total > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class Nested:
    """The nested analysis of variance.

    Attributes:
        squares: Mean squares of people, sessions, repetitions.
        freedom: Their degrees of freedom; 0 where there is nothing to compare.
        session_in_sessions: How often σ²_session is in the mean square of sessions.
        session_in_people: How often it is in that of people.
        person_in_people: How often σ²_person is in that of people.
    """

    squares: tuple[float, float, float]
    freedom: tuple[int, int, int]
    session_in_sessions: float
    session_in_people: float
    person_in_people: float


def components(values: Floats, person: Sequence[str], session: Sequence[int]) -> Components:
    """Return where the variability of a measure lies.

    Args:
        values: Shape (n,), one for each repetition; NaN is left out.
        person: Length n, codes.
        session: Length n, number of the person's session.

    Raises:
        StudyError: Fewer than two people, or nobody did anything twice.

    Source: mean squares of the nested design with unequal numbers, Searle, Casella & McCulloch
    1992, Variance Components, chapter 5; in a balanced design they are the textbook's.
    """
    known = np.isfinite(values)
    cells = [
        key for key, good in zip(zip(person, session, strict=True), known, strict=True) if good
    ]
    y = values[known]
    groups = _groups(cells)
    if len({who for who, _ in groups}) < 2:
        raise StudyError("variance between people needs two people or more")
    nested = nested_squares(y, groups)
    people, sessions, repetitions = nested.freedom
    if repetitions < 1:
        raise StudyError("variance within people needs repetitions")
    between, within = _estimates(nested)
    guess = {PERSON: between, SESSION: within, REPETITION: nested.squares[2]}
    fitted, reason = variances(y, groups, with_sessions=sessions > 0, guess=guess)
    counts = {len(rows) for rows in groups.values()}
    each = [sum(1 for who, _ in groups if who == one) for one in {who for who, _ in groups}]
    return Components(
        mean=float(y.mean()),
        person=_component(PERSON, between, _limits_of_person(nested), fitted),
        session=_component(SESSION, within, _limits_of_session(nested), fitted)
        if sessions
        else None,
        repetition=_component(REPETITION, nested.squares[2], _limits_of_error(nested), fitted),
        people=people + 1,
        sessions=len(groups),
        values=len(y),
        balanced=len(counts) == 1 and len(set(each)) == 1,
        reml_reason=reason,
    )


def nested_squares(y: Floats, groups: Groups) -> Nested:
    """Return mean squares and what they are made of.

    Args:
        y: Shape (n,).
        groups: Rows of each session of each person.
    """
    sizes = {key: len(rows) for key, rows in groups.items()}
    of_person: dict[str, int] = {}
    sums: dict[str, float] = {}
    for (who, _), rows in groups.items():
        of_person[who] = of_person.get(who, 0) + len(rows)
        sums[who] = sums.get(who, 0.0) + float(y[rows].sum())
    n, a, b = len(y), len(of_person), len(groups)
    centre = float(y.mean())
    means = {key: float(y[rows].mean()) for key, rows in groups.items()}
    of_people = {who: sums[who] / of_person[who] for who in of_person}
    ss_people = sum(of_person[who] * (of_people[who] - centre) ** 2 for who in of_person)
    ss_sessions = sum(sizes[key] * (means[key] - of_people[key[0]]) ** 2 for key in groups)
    ss_rest = sum(float(np.sum((y[rows] - means[key]) ** 2)) for key, rows in groups.items())
    inside = sum(sizes[key] ** 2 / of_person[key[0]] for key in groups)
    whole = sum(size**2 for size in sizes.values()) / n
    freedom = a - 1, b - a, n - b
    squares = tuple(
        ss / df if df else 0.0
        for ss, df in zip((ss_people, ss_sessions, ss_rest), freedom, strict=True)
    )
    return Nested(
        squares=(squares[0], squares[1], squares[2]),
        freedom=freedom,
        session_in_sessions=(n - inside) / (b - a) if b > a else 0.0,
        session_in_people=(inside - whole) / (a - 1) if a > 1 else 0.0,
        person_in_people=(n - sum(size**2 for size in of_person.values()) / n) / (a - 1)
        if a > 1
        else 0.0,
    )


def _groups(cells: Sequence[tuple[str, int]]) -> Groups:
    groups: Groups = {}
    for row, key in enumerate(cells):
        groups.setdefault(key, []).append(row)
    return dict(sorted(groups.items()))


def _estimates(nested: Nested) -> tuple[float, float]:
    """Return σ² of people and of sessions, as they come out."""
    people, sessions, rest = nested.squares
    of_session = (sessions - rest) / nested.session_in_sessions if nested.freedom[1] else 0.0
    known = rest + nested.session_in_people * of_session
    return (people - known) / nested.person_in_people, of_session


def _limits_of_error(nested: Nested) -> tuple[float, float]:
    df, square = nested.freedom[2], nested.squares[2]
    high, low = (float(stats.chi2.ppf(tail, df)) for tail in TAILS)
    return df * square / low, df * square / high


def _limits_of_session(nested: Nested) -> tuple[float, float]:
    _, sessions, rest = nested.squares
    return _williams_tukey(
        (sessions, nested.freedom[1]), (rest, nested.freedom[2]), nested.session_in_sessions
    )


def _limits_of_person(nested: Nested) -> tuple[float, float]:
    people, sessions, rest = nested.squares
    if not nested.freedom[1]:
        below = rest, float(nested.freedom[2])
    else:
        # What a mean square of people would be if people did not differ: that of sessions if
        # balanced, else a mixture with Satterthwaite's degrees of freedom.
        share = nested.session_in_people / nested.session_in_sessions
        terms = (share * sessions, nested.freedom[1]), ((1 - share) * rest, nested.freedom[2])
        square = sum(term for term, _ in terms)
        spread = sum(term**2 / df for term, df in terms)
        below = square, square**2 / spread if spread > 0.0 else float(nested.freedom[1])
    return _williams_tukey((people, nested.freedom[0]), below, nested.person_in_people)


def _williams_tukey(
    above: tuple[float, float], below: tuple[float, float], times: float
) -> tuple[float, float]:
    """Return limits of (above − below) / times (Williams 1962, Biometrika 49:278)."""
    (square, df), (under, df_under) = above, below
    f_low, f_high = (float(stats.f.ppf(tail, df, df_under)) for tail in TAILS)
    chi_low, chi_high = (float(stats.chi2.ppf(tail, df)) for tail in TAILS)
    low = df * (square - under * f_high) / (times * chi_high)
    high = df * (square - under * f_low) / (times * chi_low)
    return max(0.0, float(low)), max(0.0, float(high))


def _component(
    name: str, estimate: float, limits: tuple[float, float], fitted: dict[str, float]
) -> Component:
    low, high = limits
    return Component(name, float(estimate), low, high, fitted.get(name))
