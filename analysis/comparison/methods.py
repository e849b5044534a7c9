"""Two rigs or methods that recorded the same repetitions: how well they agree, measure by measure.

Recordings are paired in the order given, repetitions by their number. Of three people or more the
people are the subjects (several pairs of each, the truth going on); of fewer each repetition is,
and what is found holds for these people only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.comparison.bland_altman import Agreement, agreement
from analysis.comparison.performance import compared_keys
from analysis.errors import NotComparable
from analysis.reference.evidence import RecordingEvidence

LEAST_PEOPLE = 3
Measures = dict[str, float | None]


@dataclass(frozen=True, slots=True)
class MeasureAgreement:
    """How two methods agree on one measure.

    Attributes:
        key: Of the measure.
        agreement: Differences are second minus first; None for the reason given.
        reason: Why there is none; empty otherwise.
    """

    key: str
    agreement: Agreement | None
    reason: str


def agreement_of_methods(
    first: Sequence[RecordingEvidence], second: Sequence[RecordingEvidence]
) -> tuple[MeasureAgreement, ...]:
    """Return how the measures of two methods agree.

    Args:
        first: What one recorded.
        second: What the other recorded of the same, in the same order.

    Raises:
        NotComparable: They do not pair; the text says which and why.
    """
    if len(first) != len(second):
        raise NotComparable(
            f"{len(first)} recordings of one method and {len(second)} of the other make no pairs: "
            "name them in the same order, one for one"
        )
    pairs = [pair for one, other in zip(first, second, strict=True) for pair in _paired(one, other)]
    by_people = len({who for who, _, _ in pairs}) >= LEAST_PEOPLE
    return tuple(_of_measure(key, pairs, by_people=by_people) for key in compared_keys())


def _paired(
    one: RecordingEvidence, other: RecordingEvidence
) -> list[tuple[str, Measures, Measures]]:
    names = f"{one.name} and {other.name}"
    if one.facts["uuid"] == other.facts["uuid"]:
        raise NotComparable(f"{names} are the same recording; a method agrees with itself")
    if one.person != other.person:
        raise NotComparable(f"{names} are of different people")
    if one.target != other.target:
        raise NotComparable(f"{names} have different targets; name one with --target")
    numbers = [[curves.number for curves in each.curves] for each in (one, other)]
    if numbers[0] != numbers[1] or not numbers[0]:
        raise NotComparable(f"{names} do not hold the same finished repetitions")
    return [
        (one.person, dict(a), dict(b)) for a, b in zip(one.measures, other.measures, strict=True)
    ]


def _of_measure(
    key: str, pairs: Sequence[tuple[str, Measures, Measures]], *, by_people: bool
) -> MeasureAgreement:
    subjects: dict[str, list[tuple[float, float]]] = {}
    for number, (who, one, other) in enumerate(pairs):
        a, b = one[key], other[key]
        if a is not None and b is not None:
            subjects.setdefault(who if by_people else f"{number}", []).append((a, b))
    try:
        return MeasureAgreement(key, agreement(subjects), "")
    except ValueError as cause:
        return MeasureAgreement(key, None, str(cause))
