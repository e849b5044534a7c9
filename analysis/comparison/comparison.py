"""Everything a comparison says: against the experts' band, after beside before, and the tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.comparison.against_band import AgainstBand, against_band
from analysis.comparison.curve_test import CurveTest, Method, NoTest, compare_curves
from analysis.comparison.effect_sizes import (
    Case,
    Difference,
    case_against,
    difference,
    paired_difference,
)
from analysis.comparison.performance import Performance, compared_keys
from analysis.errors import NotComparable
from analysis.reference.arc_curves import QUANTITIES, WAYS, Quantity
from analysis.reference.model import Reference, as_array
from analysis.trial import PhaseName

Floats = NDArray[np.float64]

ALPHA = 0.05
"""Chance of any finding in a family of tests along the arc where nothing differs."""
LEAST_EXPERTS = 3
"""Of fewer there is hardly a spread to measure a person by. Ours."""


@dataclass(frozen=True, slots=True)
class AgainstExperts:
    """One measure beside the experts'.

    Attributes:
        key: Of the measure.
        mean: Of the repetitions (of several people: of their means); None if none has it.
        experts_mean: Of the experts' means.
        experts_sd: Between experts; None of one.
        case: One person against the experts.
        groups: Several people against the experts.
        reason: Why there is neither; empty otherwise.
    """

    key: str
    mean: float | None
    experts_mean: float | None
    experts_sd: float | None
    case: Case | None
    groups: Difference | None
    reason: str


@dataclass(frozen=True, slots=True)
class Change:
    """One measure before and after.

    Attributes:
        key: Of the measure.
        before: Mean; None if no repetition has it.
        after: Likewise.
        difference: After minus before.
        reason: Why there is none; empty otherwise.
    """

    key: str
    before: float | None
    after: float | None
    difference: Difference | None
    reason: str


@dataclass(frozen=True, slots=True)
class ArcTest:
    """A test of one quantity on one way along the arc."""

    quantity: Quantity
    way: PhaseName
    result: CurveTest | NoTest


@dataclass(frozen=True, slots=True)
class Family:
    """Tests that answer one question, each with its share of `ALPHA`.

    Attributes:
        question: In words.
        rows: What one curve of the test is, in words.
        tests: Of each quantity and way.
        reason: Why there are none; empty otherwise.
    """

    question: str
    rows: str
    tests: tuple[ArcTest, ...]
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Comparison:
    """What a comparison found; what was not asked for is None.

    Attributes:
        after: What is compared: the performance itself.
        before: The same people earlier.
        reference: The experts.
        against: For each quantity, the performance against the band.
        before_against: Likewise the earlier one.
        measures: Beside the experts'.
        changes: After beside before.
        families: Tests along the arc.
    """

    after: Performance
    before: Performance | None
    reference: Reference | None
    against: tuple[AgainstBand, ...] | None
    before_against: tuple[AgainstBand, ...] | None
    measures: tuple[AgainstExperts, ...] | None
    changes: tuple[Change, ...] | None
    families: tuple[Family, ...]


def compare(
    after: Performance,
    *,
    before: Performance | None = None,
    reference: Reference | None = None,
    method: Method = Method.FIELD,
    seed: int = 0,
) -> Comparison:
    """Return how a performance stands to experts, to an earlier one, or to both.

    Args:
        after: What is compared.
        before: The same people earlier.
        reference: The experts.
        method: Of the tests along the arc.
        seed: Of permutations.

    Raises:
        NotComparable: There is nothing to compare with, or the bins differ.
    """
    if before is None and reference is None:
        raise NotComparable("nothing to compare with: name a reference, or what was before")
    if before is not None and not np.array_equal(before.elevation_deg, after.elevation_deg):
        raise NotComparable("before and after were analysed with different bins of elevation")
    families: list[Family] = []
    if reference is not None:
        families.append(_group_family(after, reference, method, seed))
    if before is not None:
        families.append(_change_family(before, after, method, seed))
    return Comparison(
        after=after,
        before=before,
        reference=reference,
        against=against_band(after, reference) if reference else None,
        before_against=against_band(before, reference) if reference and before else None,
        measures=tuple(_beside_experts(after, reference)) if reference else None,
        changes=tuple(_changes(before, after)) if before else None,
        families=tuple(families),
    )


def _beside_experts(after: Performance, reference: Reference) -> Iterator[AgainstExperts]:
    for key in compared_keys():
        experts = [
            summary.mean
            for expert in reference.experts
            if (summary := expert.measures.get(key)) is not None
        ]
        own = list(after.measured_by_person(key).values())
        case, groups, reason = None, None, ""
        if not own or not experts:
            reason = "the measure could not be had of both"
        elif len(experts) < LEAST_EXPERTS:
            reason = f"fewer than {LEAST_EXPERTS} experts show no spread to measure by"
        else:
            try:
                if len(own) == 1:
                    case = case_against(experts, own[0])
                else:
                    groups = difference(experts, own)
            except ValueError as cause:
                reason = str(cause)
        yield AgainstExperts(
            key=key,
            mean=_mean(own),
            experts_mean=_mean(experts),
            experts_sd=float(np.std(experts, ddof=1)) if len(experts) > 1 else None,
            case=case,
            groups=groups,
            reason=reason,
        )


def _changes(before: Performance, after: Performance) -> Iterator[Change]:
    for key in compared_keys():
        of_people = before.measured_by_person(key), after.measured_by_person(key)
        means = tuple(_mean(list(one.values())) for one in of_people)
        found, reason = None, ""
        try:
            found = _change(before, after, key)
        except ValueError as cause:
            reason = str(cause)
        yield Change(key, means[0], means[1], found, reason)


def _change(before: Performance, after: Performance, key: str) -> Difference:
    """Return the difference of a measure, by people if there are several, else by repetitions.

    Raises:
        ValueError: There is none; the text says why.
    """
    if before.persons != after.persons:
        raise ValueError("before and after are of different people")
    if len(after.persons) == 1:
        return difference(before.measured(key), after.measured(key))
    earlier, later = before.measured_by_person(key), after.measured_by_person(key)
    both = [who for who in earlier if who in later]
    return paired_difference([earlier[who] for who in both], [later[who] for who in both])


def _change_family(before: Performance, after: Performance, method: Method, seed: int) -> Family:
    question = "Where along the arc does after differ from before?"
    if before.persons != after.persons:
        return Family(question, "", (), "before and after are of different people")
    if len(after.persons) == 1:
        rows = "one repetition; what is found holds for this person on these occasions"
        first, second, paired = before.values, after.values, False
    else:
        rows = "the mean of one person, paired with the same person's earlier one"
        first, second, paired = before.person_means(), after.person_means(), True
    return _family(
        question, rows, first, second,
        lambda one, two, alpha: compare_curves(
            one, two, after.elevation_deg, paired=paired, alpha=alpha, method=method, seed=seed
        ),
    )  # fmt: skip


def _group_family(after: Performance, reference: Reference, method: Method, seed: int) -> Family:
    question = "Where along the arc do these people differ from the experts?"
    if len(after.persons) == 1:
        return Family(
            question, "", (),
            "one person is no sample of people, and repetitions of one are not independent; "
            "whether the repetitions are like the experts' is told by the band",
        )  # fmt: skip
    experts = np.stack(
        [
            [[as_array(one.mean[quantity.key][way]) for way in WAYS] for quantity in QUANTITIES]
            for one in reference.experts
        ]
    )
    return _family(
        question, "the mean of one person", experts, after.person_means(),
        lambda one, two, alpha: compare_curves(
            one, two, after.elevation_deg, alpha=alpha, method=method, seed=seed
        ),
    )  # fmt: skip


def _family(
    question: str,
    rows: str,
    first: Floats,
    second: Floats,
    test: Callable[[Floats, Floats, float], CurveTest | NoTest],
) -> Family:
    """Return a test of every quantity and way; sets are (curves, quantities, ways, bins)."""
    alpha = ALPHA / (len(QUANTITIES) * len(WAYS))
    tests = tuple(
        ArcTest(quantity, way, test(first[:, index, row], second[:, index, row], alpha))
        for index, quantity in enumerate(QUANTITIES)
        for row, way in enumerate(WAYS)
    )
    reasons = {one.result.reason for one in tests if isinstance(one.result, NoTest)}
    if len(reasons) == 1 and all(isinstance(one.result, NoTest) for one in tests):
        return Family(question, rows, (), reasons.pop())
    return Family(question, rows, tests)


def _mean(values: Iterable[float]) -> float | None:
    known = list(values)
    return float(np.mean(known)) if known else None
