"""What a comparison found, in plain sentences, for terminal and report alike."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.comparison.against_band import AgainstBand, Excursion
from analysis.comparison.change import Basis, Change, Changes
from analysis.comparison.comparison import AgainstExperts, ArcTest, Comparison, Family
from analysis.comparison.curve_test import Cluster, CurveTest, NoTest
from analysis.comparison.effect_sizes import Interval
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.reference.arc_curves import Quantity
from analysis.reference.evidence import COMPARED
from analysis.reference.model import QuantityBand
from ui.banded import amount, stands_apart, too_wide_in_words
from ui.numbers import count_of, shown

NAMED: dict[str, tuple[str, str, int]] = {
    **{one.key: (one.label, one.unit, one.decimals) for one in REPETITION_MEASURES},
    **{one.key: (one.label, one.unit, one.decimals) for one in PHASE_MEASURES},
}
"""Label, unit and decimals of each measure."""
MOST_DECIMALS = 3
MANY_SESSIONS = 8
"""With fewer, before and after together, only large changes stand out. Ours."""
MOST_NAMED = 2
"""Of more people a sentence tells the number."""
PHASES = dict(COMPARED)


def measure_name(key: str) -> str:
    """Return what a compared measure is called, with its phase where that is not the movement."""
    label, unit, _ = NAMED[key]
    phase = PHASES[key]
    part = f" ({phase.value})" if phase is not None and phase.value != "movement" else ""
    return f"{label}{part}, {unit}" if unit else f"{label}{part}"


def sentences(comparison: Comparison) -> list[str]:
    """Return what was found, the band first, then what changed, then the tests."""
    return [
        *_inside_view(comparison),
        *_against_band(comparison),
        *_changed(comparison),
        *(line for family in comparison.families for line in _tested(family)),
    ]


def interval_in_words(key: str, interval: Interval, *, sign: str = "+") -> str:
    """Return a value of a measure with its interval."""
    decimals = compared_decimals(key, interval)
    value, low, high = (
        shown(one, decimals, sign=sign) for one in (interval.value, interval.low, interval.high)
    )
    return f"{value} ({low} to {high})"


def compared_decimals(key: str, interval: Interval | None = None) -> int:
    """Return how many decimals a measure takes, so that no end of an interval looks like 0."""
    least = max(1, NAMED[key][2])
    ends = (interval.value, interval.low, interval.high) if interval else ()
    wanted = range(least, MOST_DECIMALS)
    enough = (n for n in wanted if all(not end or round(end, n) for end in ends))
    return next(enough, MOST_DECIMALS)


def change_values(one: Change) -> tuple[str, str]:
    """Return what a measure was before and after, as exactly as their difference is told."""
    decimals = compared_decimals(one.key, one.found.mean if one.found else None)
    return shown(one.before, decimals), shown(one.after, decimals)


def _inside_view(comparison: Comparison) -> Iterator[str]:
    """Yield who is held against what rests on the same person."""
    if comparison.among_experts:
        who = _names(comparison.among_experts)
        verb = "is one of the experts" if len(comparison.among_experts) == 1 else "are experts"
        yield (
            f"{who} {verb} of this reference: the band rests on the same hands, so that lying in "
            "it proves little. Where measures are laid beside the experts’, they are left out."
        )
    if comparison.in_reference:
        verb = "is" if len(comparison.in_reference) == 1 else "are"
        yield f"The reference was made of what {verb} compared: {_names(comparison.in_reference)}."


def _names(names: tuple[str, ...]) -> str:
    shown_names = [one or "no code" for one in names]
    head, last = shown_names[:-1], shown_names[-1]
    return f"{', '.join(head)} and {last}" if head else last


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


def _changed(comparison: Comparison) -> Iterator[str]:
    changes = comparison.changes
    if changes is None:
        return
    yield from _not_on_both_sides(changes)
    if "" in changes.people:
        yield "Before and after have recordings without a code; they are taken to be of one person."
    if changes.basis is Basis.OCCASIONS:
        yield _two_occasions(changes)
    if changes.basis is Basis.SESSIONS:
        before, after = changes.counts
        few = "; so few tell large changes only" if before + after < MANY_SESSIONS else ""
        yield (
            f"Before and after are held beside each other by sessions: "
            f"{count_of(before, 'session')} before, {after} after{few}."
        )
    told = [one for one in changes.measures if one.told]
    for change in told:
        yield _change(change, changes)
    if not told and any(one.found for one in changes.measures):
        yield {
            Basis.PEOPLE: "Of the measures none changed on average, beyond chance and by an "
            "amount worth telling.",
            Basis.SESSIONS: "Of the measures none changed beyond what sessions differ by, and by "
            "an amount worth telling.",
        }.get(
            changes.basis or Basis.OCCASIONS,
            "On these two occasions no measure differed beyond the scatter of repetitions and by "
            "an amount worth telling.",
        )
    yield from _not_compared(changes)


def _not_on_both_sides(changes: Changes) -> Iterator[str]:
    if changes.basis is None:
        return
    for people, side in ((changes.only_before, "before"), (changes.only_after, "after")):
        if people:
            verb = "was" if len(people) == 1 else "were"
            yield f"Before and after leave out {_names(people)}, who {verb} recorded {side} only."


def _two_occasions(changes: Changes) -> str:
    who = changes.people[0] or "the person"
    asked = "Record several sessions before and several after to tell."
    if changes.one_sitting:
        return (
            f"Before and after were recorded within one session: what follows holds for these two "
            f"occasions, and nothing here says that {who} has changed. {asked}"
        )
    return (
        f"There is one session before and one after: by how much {who} differs from one day to "
        f"the next is not known, so nothing here says that {who} has changed. {asked}"
    )


def _change(change: Change, changes: Changes) -> str:
    assert change.found is not None
    before, after = change_values(change)
    words = interval_in_words(change.key, change.found.mean)
    what = f"{measure_name(change.key)}: {before} before, {after} after"
    if changes.basis is Basis.OCCASIONS:
        return f"On these two occasions: {what}; a difference of {words}, by repetitions alone."
    average = " on average" if changes.basis is Basis.PEOPLE else ""
    return f"{what}; changed{average} by {words}, {_p(change.p)} with all measures together."


def _p(p: float | None) -> str:
    assert p is not None
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}"


def _not_compared(changes: Changes) -> Iterator[str]:
    reasons: dict[str, list[str]] = {}
    for one in changes.measures:
        if one.reason:
            reasons.setdefault(one.reason, []).append(NAMED[one.key][0])
    for reason, labels in reasons.items():
        whole = len(labels) == len(changes.measures)
        of = "" if whole else f" ({', '.join(labels)})"
        yield f"Before and after not compared{of}: {reason}."


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
        f"({_p(cluster.p)})."
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
    return f"{interval_in_words(one.key, one.groups.mean)}, g {_g(one.groups.standardised)}"


def _g(interval: Interval) -> str:
    value, low, high = (
        shown(one, 2, sign="+") for one in (interval.value, interval.low, interval.high)
    )
    return f"{value} ({low} to {high})"


def change_in_words(one: Change) -> tuple[str, str, str]:
    """Return a difference with its interval, in SDs, and its p; the reason if there is none."""
    if one.found is None:
        return one.reason, "", ""
    told = interval_in_words(one.key, one.found.mean)
    return told, _g(one.found.standardised), _p(one.p)


def changes_note(changes: Changes) -> str:
    """Return what the table of changes is about."""
    least = ", ".join(dict.fromkeys(_least(one) for one in changes.measures))
    of = {
        Basis.PEOPLE: f"by {count_of(changes.counts[0], 'person', 'people')}, each with a mean "
        "before and after",
        Basis.SESSIONS: f"by sessions, {changes.counts[0]} before and {changes.counts[1]} after, "
        "so that they hold what differs from one to the next",
        Basis.OCCASIONS: "by the repetitions of two occasions: they hold for these occasions only "
        "and say nothing about other days",
        None: "",
    }[changes.basis]
    return (
        f"Intervals are {of}. p is for all measures together (Holm). Told in words is what is "
        f"below 0.05 and at least {least}."
    )


def _least(one: Change) -> str:
    unit = NAMED[one.key][1]
    return f"{shown(one.least, 1)}{'' if unit.startswith('°') else ' '}{unit}"
