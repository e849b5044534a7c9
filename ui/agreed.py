"""How two methods agree, in plain sentences, for terminal and report alike."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.comparison.bland_altman import Design
from analysis.comparison.effect_sizes import Interval
from analysis.comparison.methods import AgreementOfMethods, MeasureAgreement
from ui.measure_words import NAMED, compared_decimals
from ui.numbers import shown

ALPHA = 0.05
SAME = 1e-12
"""Of the largest value: what rounding leaves between differences that are the same."""
LIMITS = (
    "Differences are the second minus the first. Of single differences 95 of 100 lie between the "
    "limits; in brackets the 95 % interval of each number. Whether such limits are narrow enough "
    "is a matter of what the measure is for."
)
FEW_PEOPLE = (
    "Of fewer than three people each repetition counts by itself: the limits hold for these "
    "people only, and their intervals suppose that repetitions are independent."
)


def agreement_title(found: AgreementOfMethods) -> str:
    """Return what is held against what."""
    if found.same_rig:
        return "Test and retest"
    return "Agreement of two methods"


def agreement_sentences(found: AgreementOfMethods) -> list[str]:
    """Return what the numbers mean, then what they say."""
    return [_meaning(found), LIMITS, *_few(found), *_trends(found), *_not_had(found)]


def _meaning(found: AgreementOfMethods) -> str:
    one, other = (" and ".join(rigs) for rigs in found.rigs)
    if found.same_time:
        return (
            f"By their dates rig {one} and rig {other} recorded the same repetitions at the same "
            "time: what differs is what the two say of them."
        )
    if found.same_rig:
        return (
            f"Both were recorded with the same rig ({one}) at different times, so they hold "
            "different repetitions. What is told is how well a person repeats a measure from one "
            "recording to the next, not how well two methods agree."
        )
    return (
        f"Rig {one} and rig {other} recorded at different times, so not the same repetitions: the "
        "differences hold how a person varies as well as what the rigs differ by. The limits are "
        "too wide for the rigs alone, and a bias may be the person’s."
    )


def _few(found: AgreementOfMethods) -> Iterator[str]:
    if any(one.agreement and one.agreement.design is Design.SINGLE for one in found.measures):
        yield FEW_PEOPLE


def _trends(found: AgreementOfMethods) -> Iterator[str]:
    for one in found.measures:
        if one.agreement and one.agreement.trend and has_trend(one):
            label, unit, _ = NAMED[one.key]
            slope = one.agreement.trend.slope
            yield (
                f"{label[0].upper()}{label[1:]}: the difference changes with the measure, by "
                f"{_with_interval(slope, 2)} for each {unit or 'unit'}: bias and limits do not "
                "hold all along."
            )


def has_trend(one: MeasureAgreement) -> bool:
    """Whether the difference changes with the measure, beyond chance, all measures together."""
    return one.trend_p is not None and one.trend_p < ALPHA and not has_no_scatter(one)


def _not_had(found: AgreementOfMethods) -> Iterator[str]:
    reasons: dict[str, list[str]] = {}
    for one in found.measures:
        if has_no_scatter(one):
            reasons.setdefault("every pair differs by the same", []).append(NAMED[one.key][0])
        elif one.reason:
            reasons.setdefault(one.reason, []).append(NAMED[one.key][0])
    for reason, labels in reasons.items():
        yield f"No limits ({', '.join(labels)}): {reason}."


def has_no_scatter(one: MeasureAgreement) -> bool:
    """Whether all differences are the same, so that there are no limits round them."""
    return one.agreement is not None and one.agreement.sd < SAME * max(
        1.0, *(abs(end) for point in one.points for end in point)
    )


def agreement_cells(one: MeasureAgreement) -> tuple[str, str, str, str]:
    """Return bias, limits and pairs of a measure."""
    if one.agreement is None:
        return "—", "—", "—", str(len(one.points))
    bias = one.agreement.bias
    if has_no_scatter(one):
        same = shown(bias.value, compared_decimals(one.key, bias), sign="+")
        return same, "—", "—", str(one.agreement.pairs)
    limits = (bias, one.agreement.lower, one.agreement.upper)
    decimals = max(compared_decimals(one.key, limit) for limit in limits)
    told = [_with_interval(limit, decimals) for limit in limits]
    return told[0], told[1], told[2], str(one.agreement.pairs)


def _with_interval(one: Interval, decimals: int) -> str:
    value, low, high = (shown(end, decimals, sign="+") for end in (one.value, one.low, one.high))
    return f"{value} ({low} to {high})"
