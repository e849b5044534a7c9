"""Two rigs or methods that recorded the same repetitions: how well they agree, measure by measure.

Repetitions are paired by their number. Only recordings of one time hold the same repetitions: of
different times the differences hold how people vary as well, and of one rig nothing else. Of three
people or more the people are the subjects (several pairs of each, the truth going on); of fewer
each repetition is, and what is found holds for these people only.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from analysis.comparison.bland_altman import Agreement, agreement
from analysis.comparison.effect_sizes import holm
from analysis.comparison.performance import compared_keys
from analysis.errors import NotComparable
from analysis.reference.evidence import RecordingEvidence

LEAST_PEOPLE = 3
LEAST_OVERLAP = 0.5
"""Two recordings share at least this much of the shorter one, or are of different times. Ours."""
Measures = dict[str, float | None]


@dataclass(frozen=True, slots=True)
class Pair:
    """One repetition as both say it; a measure that one lacks is None there."""

    person: str
    first: Measures
    second: Measures


@dataclass(frozen=True, slots=True)
class MeasureAgreement:
    """How two methods agree on one measure.

    Attributes:
        key: Of the measure.
        agreement: Differences are second minus first; None for the reason given.
        points: What it rests on: first and second of each pair.
        trend_p: Chance of a trend as strong where there is none, all measures together (Holm).
        reason: Why there is none; empty otherwise.
    """

    key: str
    agreement: Agreement | None
    points: tuple[tuple[float, float], ...]
    trend_p: float | None
    reason: str


@dataclass(frozen=True, slots=True)
class AgreementOfMethods:
    """How two rigs or methods agree, and what that means.

    Attributes:
        same_time: Every pair was recorded at one time, by its dates, by two rigs: its repetitions
            are the same ones.
        same_rig: One rig recorded both of every pair.
        rigs: Of the first and of the second recordings.
        people: Whose.
        recordings: Names, in pairs.
        measures: One by one.
    """

    same_time: bool
    same_rig: bool
    rigs: tuple[tuple[str, ...], tuple[str, ...]]
    people: tuple[str, ...]
    recordings: tuple[tuple[str, str], ...]
    measures: tuple[MeasureAgreement, ...]


def agreement_of_methods(
    pairs: Sequence[tuple[RecordingEvidence, RecordingEvidence]],
) -> AgreementOfMethods:
    """Return how the measures of two methods agree.

    Args:
        pairs: What one recorded and what the other did of the same.

    Raises:
        NotComparable: They do not pair; the text says which and why.
    """
    if not pairs:
        raise NotComparable("no pair of recordings could be used")
    _check_once(pairs)
    repetitions = [pair for one, other in pairs for pair in _paired(one, other)]
    by_people = len({pair.person for pair in repetitions}) >= LEAST_PEOPLE
    found = [_of_measure(key, repetitions, by_people=by_people) for key in compared_keys()]
    return AgreementOfMethods(
        same_time=all(_at_one_time(one, other) for one, other in pairs),
        same_rig=all(one.facts["rig"] == other.facts["rig"] for one, other in pairs),
        rigs=(
            tuple(sorted({str(one.facts["rig"]) for one, _ in pairs})),
            tuple(sorted({str(other.facts["rig"]) for _, other in pairs})),
        ),
        people=tuple(dict.fromkeys(pair.person for pair in repetitions)),
        recordings=tuple((one.name, other.name) for one, other in pairs),
        measures=tuple(_together(found)),
    )


def _check_once(pairs: Sequence[tuple[RecordingEvidence, RecordingEvidence]]) -> None:
    seen: dict[str, str] = {}
    for each in (each for pair in pairs for each in pair):
        uuid = str(each.facts["uuid"])
        if uuid in seen:
            raise NotComparable(
                f"{seen[uuid]} and {each.name} are the same recording, which counts once only"
            )
        seen[uuid] = each.name


def _paired(one: RecordingEvidence, other: RecordingEvidence) -> list[Pair]:
    names = f"{one.name} and {other.name}"
    if one.person != other.person:
        raise NotComparable(f"{names} are of different people")
    if one.target != other.target:
        raise NotComparable(f"{names} have different targets; name one with --target")
    numbers = [[curves.number for curves in each.curves] for each in (one, other)]
    if numbers[0] != numbers[1] or not numbers[0]:
        raise NotComparable(f"{names} do not hold the same finished repetitions")
    return [
        Pair(one.person, dict(a), dict(b))
        for a, b in zip(one.measures, other.measures, strict=True)
    ]


def _at_one_time(one: RecordingEvidence, other: RecordingEvidence) -> bool:
    if one.facts["rig"] == other.facts["rig"]:
        return False  # no rig records twice at once, whatever the clocks say
    begun, lasting = zip(*map(_begun_and_lasting, (one, other)), strict=True)
    apart = abs((begun[0] - begun[1]).total_seconds())
    first = begun.index(min(begun))
    shared = min(lasting[first] - apart, lasting[1 - first])
    return bool(shared >= LEAST_OVERLAP * min(lasting))


def _begun_and_lasting(one: RecordingEvidence) -> tuple[datetime, float]:
    try:
        begun = datetime.fromisoformat(str(one.facts["started_utc"]))
    except ValueError as cause:
        raise NotComparable(f"{one.name}: its date cannot be read, so it has no pair") from cause
    return begun.replace(tzinfo=UTC), float(one.facts["duration_s"])


def _of_measure(key: str, pairs: Sequence[Pair], *, by_people: bool) -> MeasureAgreement:
    subjects: dict[str, list[tuple[float, float]]] = {}
    for number, pair in enumerate(pairs):
        a, b = pair.first[key], pair.second[key]
        if a is not None and b is not None:
            subjects.setdefault(pair.person if by_people else f"{number}", []).append((a, b))
    points = tuple(point for own in subjects.values() for point in own)
    try:
        return MeasureAgreement(key, agreement(subjects), points, None, "")
    except ValueError as cause:
        return MeasureAgreement(key, None, points, None, str(cause))


def _together(found: Sequence[MeasureAgreement]) -> Iterator[MeasureAgreement]:
    """Yield the measures with what all of them together allow to say of a trend."""
    trends = [one.agreement.trend if one.agreement else None for one in found]
    chances = iter(holm([trend.p for trend in trends if trend]))
    for one, trend in zip(found, trends, strict=True):
        yield replace(one, trend_p=next(chances)) if trend else one
