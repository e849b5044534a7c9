"""What a comparison found, in plain sentences, for terminal and report alike."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.comparison.against_band import AgainstBand, Excursion
from analysis.comparison.comparison import AgainstExperts, ArcTest, Change, Comparison, Family
from analysis.comparison.curve_test import Cluster, CurveTest
from analysis.comparison.effect_sizes import Interval
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.reference.arc_curves import Quantity
from analysis.reference.evidence import COMPARED
from ui.numbers import shown

NAMED: dict[str, tuple[str, str, int]] = {
    **{one.key: (one.label, one.unit, one.decimals) for one in REPETITION_MEASURES},
    **{one.key: (one.label, one.unit, one.decimals) for one in PHASE_MEASURES},
}
"""Label, unit and decimals of each measure."""
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
        *_against_band(comparison),
        *_changed(comparison),
        *(line for family in comparison.families for line in _tested(family)),
    ]


def interval_in_words(key: str, interval: Interval, *, sign: str = "+") -> str:
    """Return a value of a measure with its interval."""
    decimals = max(1, NAMED[key][2])  # or an end of the interval may look like 0
    value, low, high = (
        shown(one, decimals, sign=sign) for one in (interval.value, interval.low, interval.high)
    )
    return f"{value} ({low} to {high})"


def _against_band(comparison: Comparison) -> Iterator[str]:
    if comparison.against is None:
        return
    who = comparison.after.label
    for one in comparison.against:
        before = _of_quantity(comparison.before_against, one.quantity)
        yield _share(who, one, before)
        for excursion in one.excursions:
            yield _excursion(excursion, one)


def _share(who: str, one: AgainstBand, before: AgainstBand | None) -> str:
    label = one.quantity.label
    if one.inside_percent is None:
        return f"{who}: of the {label} nothing is known on the arc of the experts’ band."
    was = ""
    if before is not None and before.inside_percent is not None:
        was = f", before {before.inside_percent:.0f} %"
    where = "" if one.excursions else "; its mean leaves the band nowhere"
    return (
        f"{who}: {one.inside_percent:.0f} % of the {label} lies in the experts’ band{was} "
        f"(root mean square difference from their mean "
        f"{_amount(one.rms_difference, one.quantity)}){where}."
    )


def _excursion(excursion: Excursion, one: AgainstBand) -> str:
    quantity = one.quantity
    way = "On the raise" if excursion.way.value == "raise" else "On the way down"
    u = "" if excursion.u is None else f", give or take {_amount(excursion.u, quantity)},"
    return (
        f"{way}, from {excursion.from_deg:g}° to {excursion.to_deg:g}°, the mean is "
        f"{quantity.more if excursion.above else quantity.less} than the band: by up to "
        f"{_amount(excursion.greatest, quantity)}{u} at "
        f"{excursion.greatest_at_deg:.0f}° ({excursion.repetitions} of {one.repetitions} "
        "repetitions leave it there)."
    )


def _amount(value: float | None, quantity: Quantity) -> str:
    space = "" if quantity.unit.startswith("°") else " "
    return f"{shown(value, quantity.decimals)}{space}{quantity.unit}"


def _of_quantity(found: tuple[AgainstBand, ...] | None, quantity: Quantity) -> AgainstBand | None:
    return next((one for one in found or () if one.quantity.key == quantity.key), None)


def _changed(comparison: Comparison) -> Iterator[str]:
    if comparison.changes is None:
        return
    clear = [one for one in comparison.changes if one.difference and _is_clear(one)]
    for change in clear:
        assert change.difference is not None
        words = interval_in_words(change.key, change.difference.mean)
        yield (
            f"{measure_name(change.key)}: {_value(change.key, change.before)} before, "
            f"{_value(change.key, change.after)} after; changed by {words}."
        )
    reasons: dict[str, list[str]] = {}
    for one in comparison.changes:
        if one.reason:
            reasons.setdefault(one.reason, []).append(NAMED[one.key][0])
    if not clear and len(reasons) != 1:
        yield "Of the measures none changed by more than its interval allows to say."
    for reason, labels in reasons.items():
        whole = len(labels) == len(comparison.changes)
        yield (
            f"Not compared: {reason}."
            if whole
            else f"Not compared ({', '.join(labels)}): {reason}."
        )


def _is_clear(change: Change) -> bool:
    return change.difference is not None and change.difference.mean.excludes_zero


def _value(key: str, value: float | None) -> str:
    return shown(value, NAMED[key][2])


def _tested(family: Family) -> Iterator[str]:
    if family.reason:
        yield f"{family.question} Not tested: {family.reason}."
        return
    found = [
        _cluster(test, cluster)
        for test in family.tests
        if isinstance(test.result, CurveTest)
        for cluster in test.result.clusters
    ]
    yield f"{family.question} {' '.join(found) if found else 'Nowhere beyond chance.'}"


def _cluster(test: ArcTest, cluster: Cluster) -> str:
    way = "on the raise" if test.way.value == "raise" else "on the way down"
    words = test.quantity.more if cluster.higher else test.quantity.less
    p = "p < 0.001" if cluster.p < 0.001 else f"p = {cluster.p:.3f}"
    return (
        f"{test.quantity.label.capitalize()} {way} from {cluster.from_deg:.0f}° to "
        f"{cluster.to_deg:.0f}°: {words} ({p})."
    )


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


def change_in_words(one: Change) -> tuple[str, str]:
    """Return a change with its interval, and the same in SDs; the reason why there is none."""
    if one.difference is None:
        return one.reason, ""
    return interval_in_words(one.key, one.difference.mean), _g(one.difference.standardised)
