"""Everything a comparison says: against the experts' band, after beside before, and the tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.comparison.against_band import AgainstBand, against_band
from analysis.comparison.change import NOBODY, Basis, Changes, Sides, changes_of, sides_of
from analysis.comparison.curve_test import CurveTest, Method, NoTest, compare_curves
from analysis.comparison.effect_sizes import Case, Difference, case_against, difference
from analysis.comparison.performance import Performance, compared_keys, mean_where_known
from analysis.errors import NotComparable
from analysis.reference.arc_curves import QUANTITIES, WAYS, Quantity
from analysis.reference.model import Expert, Reference, as_array
from analysis.trial import PhaseName

Floats = NDArray[np.float64]

ALPHA = 0.05
"""Chance of any finding in a family of tests along the arc where nothing differs."""
MOST_SEED = 2**32 - 1
"""The library that permutes takes no greater one."""
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
        among_experts: Who of those compared is an expert of the reference too.
        in_reference: Files that are compared and that the reference was made of.
    """

    after: Performance
    before: Performance | None
    reference: Reference | None
    against: tuple[AgainstBand, ...] | None
    before_against: tuple[AgainstBand, ...] | None
    measures: tuple[AgainstExperts, ...] | None
    changes: Changes | None
    families: tuple[Family, ...]
    among_experts: tuple[str, ...]
    in_reference: tuple[str, ...]


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
        NotComparable: There is nothing to compare with, or what there is does not fit together.
        StudyError: A recording has no date that can be read.
    """
    _check(after, before, reference, seed)
    sides = sides_of(before, after) if before else None
    families: list[Family] = []
    if reference is not None:
        families.append(_group_family(after, reference, method, seed))
    if sides is not None:
        families.append(_change_family(sides, method, seed))
    return Comparison(
        after=after,
        before=before,
        reference=reference,
        against=against_band(after, reference) if reference else None,
        before_against=against_band(before, reference) if reference and before else None,
        measures=tuple(_beside_experts(after, reference)) if reference else None,
        changes=changes_of(sides) if sides else None,
        families=tuple(families),
        among_experts=_among_experts(after, reference) if reference else (),
        in_reference=tuple(_in_reference(reference, after, before)) if reference else (),
    )


def _check(
    after: Performance, before: Performance | None, reference: Reference | None, seed: int
) -> None:
    if before is None and reference is None:
        raise NotComparable("nothing to compare with: name a reference, or what was before")
    if not 0 <= seed <= MOST_SEED:
        raise NotComparable(f"a seed of {seed} is none: 0 to {MOST_SEED} are")
    if reference is not None and after.target != reference.target:
        raise NotComparable(
            "the reference was made for another target than these recordings were measured "
            "against: leave --target out, or make the reference again with it"
        )
    if before is None:
        return
    if before.target != after.target:
        raise NotComparable("before and after have different targets; name one with --target")
    if not np.array_equal(before.elevation_deg, after.elevation_deg):
        raise NotComparable("before and after were analysed with different bins of elevation")
    both = {str(one["uuid"]): one for one in before.recordings}
    for one in after.recordings:
        if (known := both.get(str(one["uuid"]))) is not None:
            names = " and ".join(str(each["file"] or each["uuid"]) for each in (known, one))
            raise NotComparable(f"{names} are the same recording, before and after")


def _among_experts(after: Performance, reference: Reference) -> tuple[str, ...]:
    experts = {one.code for one in reference.experts}
    return tuple(who for who in after.persons if who in experts)


def _in_reference(reference: Reference, *sets: Performance | None) -> Iterator[str]:
    used = {one.uuid for one in reference.recordings}
    for one in (facts for given in sets if given for facts in given.recordings):
        if one["uuid"] in used:
            yield str(one["file"] or one["uuid"])


def _others(after: Performance, reference: Reference) -> tuple[Expert, ...]:
    """Return the experts that nobody compared is one of: nobody is held against himself."""
    return tuple(one for one in reference.experts if one.code not in after.persons)


def _beside_experts(after: Performance, reference: Reference) -> Iterator[AgainstExperts]:
    for key in compared_keys():
        experts = [
            summary.mean
            for expert in _others(after, reference)
            if (summary := expert.measures.get(key)) is not None
        ]
        own = list(after.measured_by_person(key).values())
        case, groups, reason = None, None, ""
        if not own or not experts:
            reason = "the measure could not be had of both"
        elif len(experts) < LEAST_EXPERTS:
            reason = f"fewer than {LEAST_EXPERTS} other experts show no spread to measure by"
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


def _change_family(sides: Sides, method: Method, seed: int) -> Family:
    before, after, basis = sides.before, sides.after, sides.basis
    question = "Where along the arc does after differ from before?"
    if basis is None:
        return Family(question, "", (), NOBODY)
    if basis is Basis.PEOPLE:
        rows = "the mean of one person, paired with the same person's earlier one"
        first, second = before.person_means(), after.person_means()
    elif basis is Basis.SESSIONS:
        rows = "the mean of one session of this person"
        first, second = (_session_curves(sides, one) for one in (before, after))
    else:
        question = "Where along the arc do these two occasions differ?"
        rows = "one repetition; what is found holds for these two occasions, not for the person"
        first, second = before.values, after.values
    return _family(
        question, rows, first, second,
        lambda one, two, alpha: compare_curves(
            one, two, after.elevation_deg, paired=basis is Basis.PEOPLE, alpha=alpha,
            method=method, seed=seed,
        ),
    )  # fmt: skip


def _session_curves(sides: Sides, one: Performance) -> Floats:
    return np.stack([mean_where_known(one.values[rows]) for rows in sides.session_rows(one)])


def _group_family(after: Performance, reference: Reference, method: Method, seed: int) -> Family:
    question = "Where along the arc do these people differ from the experts?"
    if len(after.persons) == 1:
        question = "Where along the arc does this person differ from the experts?"
        return Family(
            question, "", (),
            "one person is no sample of people, and repetitions of one are not independent; "
            "whether the repetitions are like the experts' is told by the band",
        )  # fmt: skip
    others = _others(after, reference)
    if not others:
        return Family(question, "", (), "all experts are among those compared")
    experts = np.stack(
        [
            [[as_array(one.mean[quantity.key][way]) for way in WAYS] for quantity in QUANTITIES]
            for one in others
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
