"""What a comparison found, in plain sentences, for terminal and report alike."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.comparison.against_band import AgainstBand, Excursion
from analysis.comparison.comparison import AgainstExperts, ArcTest, Comparison, Family
from analysis.comparison.curve_test import Cluster, CurveTest, NoTest
from analysis.reference.arc_curves import Quantity
from analysis.reference.model import QuantityBand
from ui.banded import amount, stands_apart, too_wide_in_words
from ui.changed import changed
from ui.measure_words import interval_in_words, names_in_words, p_in_words, sds_in_words
from ui.numbers import count_of, shown

MOST_NAMED = 2
"""Of more people a sentence tells the number."""


def sentences(comparison: Comparison) -> list[str]:
    """Return what was found, the band first, then what changed, then the tests."""
    return [
        *_inside_view(comparison),
        *_against_band(comparison),
        *changed(comparison.changes),
        *(line for family in comparison.families for line in _tested(family)),
    ]


def _inside_view(comparison: Comparison) -> Iterator[str]:
    """Yield who is held against what rests on the same person."""
    if comparison.among_experts:
        who = names_in_words(comparison.among_experts)
        verb = "is one of the experts" if len(comparison.among_experts) == 1 else "are experts"
        yield (
            f"{who} {verb} of this reference: the band rests on the same hands, so that lying in "
            "it proves little. Where measures are laid beside the experts’, they are left out."
        )
    if comparison.in_reference:
        verb = "is" if len(comparison.in_reference) == 1 else "are"
        files = names_in_words(comparison.in_reference)
        yield f"The reference was made of what {verb} compared: {files}."


def _against_band(comparison: Comparison) -> Iterator[str]:
    if comparison.against is None or comparison.reference is None:
        return
    who = who_is_compared(comparison)
    everybody = who[0].upper() + who[1:]
    parts = [_known(one) for one in comparison.against]
    alike = len(set(parts)) == 1
    if alike and parts[0]:
        yield f"{everybody}: {parts[0]}. What follows holds for that part alone."
    for one, part in zip(comparison.against, parts, strict=True):
        who = everybody if alike or not part else f"{everybody}: {part}"
        before = _of_quantity(comparison.before_against, one.quantity)
        band = comparison.reference.bands[one.quantity.key]
        hidden = band.too_wide and one.inside_percent is not None
        yield _not_judged(who, one, band) if hidden else _share(who, one, before)
        if not hidden:
            yield from (stands_apart(other, one.quantity) for other in band.apart)
        for excursion in one.excursions:
            yield _excursion(excursion, one)


def _share(who: str, one: AgainstBand, before: AgainstBand | None) -> str:
    label = one.quantity.label
    if one.inside_percent is None or one.known_to_deg is None:
        return f"{who}: of the {label} nothing is known on the arc of the experts’ band."
    was = ""
    if before is not None and before.inside_percent is not None:
        was = f", before {before.inside_percent:.0f} %"
    there = " there" if _known(one) else ""
    where = "" if one.excursions else f"; its mean leaves the band nowhere{there}"
    return (
        f"{who}: {one.inside_percent:.0f} % of the {label}{there} lies in the experts’ "
        f"band{was} (root mean square difference from their mean "
        f"{amount(one.rms_difference, one.quantity)}){where}."
    )


def _not_judged(who: str, one: AgainstBand, band: QuantityBand) -> str:
    return (
        f"{who}: the {one.quantity.label} is not judged: {too_wide_in_words(one.quantity, band)}. "
        f"Its root mean square difference from the experts’ mean is "
        f"{amount(one.rms_difference, one.quantity)}."
    )


def _known(one: AgainstBand) -> str:
    """Return on how much of the experts' arc anything is known; empty if on all of it."""
    share = f"{one.known_percent:.0f} %"
    if share == "100 %" or one.known_to_deg is None:
        return ""
    low, high = f"{one.known_to_deg:.0f}°", f"{one.arc_to_deg:.0f}°"
    up_to = f"up to {low} of {high}" if low != high else "with gaps"
    return f"known on {share} of the experts’ arc, {up_to}"


def who_is_compared(comparison: Comparison) -> str:
    """Return the codes of few people, the number of many."""
    people = len(comparison.after.persons)
    return comparison.after.label if people <= MOST_NAMED else f"these {people} people"


def _excursion(excursion: Excursion, one: AgainstBand) -> str:
    quantity = one.quantity
    way = "On the raise" if excursion.way.value == "raise" else "On the way down"
    u = "" if excursion.u is None else f", give or take {amount(excursion.u, quantity)},"
    return (
        f"{way}, from {excursion.from_deg:g}° to {excursion.to_deg:g}°, the mean is "
        f"{quantity.more if excursion.above else quantity.less} than the band: by up to "
        f"{amount(excursion.greatest, quantity)}{u} at "
        f"{excursion.greatest_at_deg:.0f}° ({excursion.repetitions} of "
        f"{count_of(one.repetitions, 'repetition')} "
        f"{'leaves' if excursion.repetitions == 1 else 'leave'} it there)."
    )


def _of_quantity(found: tuple[AgainstBand, ...] | None, quantity: Quantity) -> AgainstBand | None:
    return next((one for one in found or () if one.quantity.key == quantity.key), None)


def _tested(family: Family) -> Iterator[str]:
    if family.reason:
        yield f"{family.question} Not tested: {family.reason}."
        return
    tested = [one for one in family.tests if isinstance(one.result, CurveTest)]
    found = [
        _cluster(test, cluster)
        for test in tested
        if isinstance(test.result, CurveTest)
        for cluster in test.result.clusters
    ]
    if tested and not found:
        whole = len(tested) == len(family.tests)
        found = ["Nowhere beyond chance." if whole else "Of what was tested nowhere beyond chance."]
    yield " ".join([family.question, *found, *_not_tested(family)])


def _not_tested(family: Family) -> Iterator[str]:
    reasons: dict[str, list[str]] = {}
    for one in family.tests:
        if isinstance(one.result, NoTest):
            way = f"{one.quantity.label} on the {one.way.value}"
            reasons.setdefault(one.result.reason, []).append(way)
    for reason, labels in reasons.items():
        yield f"Not tested ({', '.join(labels)}): {reason}."


def _cluster(test: ArcTest, cluster: Cluster) -> str:
    way = "on the raise" if test.way.value == "raise" else "on the way down"
    words = test.quantity.more if cluster.higher else test.quantity.less
    return (
        f"{test.quantity.label.capitalize()} {way} {stretch_in_words(cluster)}: {words} "
        f"({p_in_words(cluster.p)})."
    )


def stretch_in_words(cluster: Cluster) -> str:
    """Return where a cluster lies; one that is narrower than a degree is a point."""
    low, high = f"{cluster.from_deg:.0f}°", f"{cluster.to_deg:.0f}°"
    return f"at {low}" if low == high else f"from {low} to {high}"


def experts_in_words(one: AgainstExperts) -> str:
    """Return where a person stands among the experts, or several people beside them."""
    if one.reason:
        return one.reason
    if one.case is not None:
        low, high = (shown(value, 1, sign="+") for value in (one.case.sds.low, one.case.sds.high))
        return f"{shown(one.case.sds.value, 1, sign='+')} SD ({low} to {high})"
    assert one.groups is not None
    return (
        f"{interval_in_words(one.key, one.groups.mean)}, g {sds_in_words(one.groups.standardised)}"
    )
