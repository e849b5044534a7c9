"""A comparison as one HTML page: plain sentences first, pictures, statistics after."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib.metadata import version
from typing import Any

from markupsafe import Markup

from acquisition.software import software
from analysis.comparison.comparison import ArcTest, Comparison, Family
from analysis.comparison.curve_test import CurveTest, NoTest
from analysis.comparison.performance import Performance
from analysis.reference.arc_curves import QUANTITIES
from ui.banded import doubts
from ui.changed import change_in_words, change_values, changes_note
from ui.compared import experts_in_words, sentences, stretch_in_words, who_is_compared
from ui.measure_words import compared_decimals, measure_name
from ui.numbers import count_of, shown
from ui.report.figures.arc_bands import Laid, quantity_figure
from ui.report.page import page

LIBRARIES = ("numpy", "scipy", "vqf")


def build_comparison(comparison: Comparison) -> str:
    """Return the page. The same comparison gives the same bytes."""
    return page(
        "comparison.html.j2",
        after=comparison.after,
        who=who_is_compared(comparison),
        before=comparison.before,
        reference=comparison.reference,
        doubts=list(doubts(comparison.reference)) if comparison.reference else [],
        sentences=sentences(comparison),
        svgs=[Markup(svg) for svg in _figures(comparison)],  # noqa: S704, RUF100 - our own
        beside=list(_beside(comparison)),
        changes=list(_changes(comparison)),
        changes_note=changes_note(comparison.changes) if comparison.changes else "",
        count_of=count_of,
        families=[_family(one) for one in comparison.families],
        sets=list(_sets(comparison)),
        versions=", ".join((software(), *(f"{name} {version(name)}" for name in LIBRARIES))),
    )


def _figures(comparison: Comparison) -> Iterator[str]:
    after, before = comparison.after, comparison.before
    for index, quantity in enumerate(QUANTITIES):
        laid = [
            _laid(
                "after" if before else who_is_compared(comparison), after, index, comparison.against
            )
        ]
        if before is not None:
            laid.append(_laid("before", before, index, comparison.before_against))
        yield quantity_figure(after.elevation_deg, quantity, laid, comparison.reference)


def _laid(label: str, one: Performance, index: int, against: Any) -> Laid:
    outside = against[index].outside if against else None
    return Laid(label, one.values[:, index], one.mean()[index], outside)


def _beside(comparison: Comparison) -> Iterator[Mapping[str, str]]:
    for one in comparison.measures or ():
        decimals = compared_decimals(one.key)
        spread = "" if one.experts_sd is None else f" ± {shown(one.experts_sd, decimals)}"
        yield {
            "name": measure_name(one.key),
            "own": shown(one.mean, decimals),
            "experts": shown(one.experts_mean, decimals) + spread,
            "words": experts_in_words(one),
        }


def _changes(comparison: Comparison) -> Iterator[Mapping[str, str]]:
    changes = comparison.changes
    for one in changes.measures if changes and changes.basis else ():
        difference, effect, p = change_in_words(one)
        before, after = change_values(one)
        yield {
            "name": measure_name(one.key),
            "before": before,
            "after": after,
            "difference": difference,
            "effect": effect,
            "p": p,
        }


def _family(family: Family) -> Mapping[str, Any]:
    return {
        "question": family.question,
        "rows": family.rows,
        "reason": family.reason,
        "tests": [_test(test) for test in family.tests],
    }


def _test(test: ArcTest) -> Mapping[str, str]:
    name = f"{test.quantity.label}, {test.way.value}"
    if isinstance(test.result, NoTest):
        return {"name": name, "result": test.result.reason, "how": ""}
    return {"name": name, "result": _clusters(test.result), "how": _how(test.result)}


def _clusters(result: CurveTest) -> str:
    if not result.clusters:
        return "no difference beyond chance"
    return "; ".join(
        f"{stretch_in_words(one)} {'higher' if one.higher else 'lower'}, "
        + ("p < 0.001" if one.p < 0.001 else f"p = {one.p:.3f}")
        for one in result.clusters
    )


def _how(result: CurveTest) -> str:
    pairs = "pairs" if result.paired else "curves"
    counts = str(result.counts[0]) if result.paired else " and ".join(map(str, result.counts))
    degrees = "" if result.degrees is None else f", {result.degrees:.1f} degrees of freedom"
    width = "" if result.width_deg is None else f", residuals {result.width_deg:.0f}° wide"
    return (
        f"{counts} {pairs}, |t| above {result.threshold:.2f} (α {result.alpha:.4f}, "
        f"{result.method.value}{degrees}{width})"
    )


def _sets(comparison: Comparison) -> Iterator[tuple[str, str]]:
    """Yield what each set rests on."""
    named = [("after" if comparison.before else "compared", comparison.after)]
    if comparison.before is not None:
        named.append(("before", comparison.before))
    for name, one in named:
        files = ", ".join(str(facts["file"] or facts["uuid"]) for facts in one.recordings)
        yield name, f"{one.label}: {count_of(len(one.people), 'repetition')} of {files}"
    if comparison.reference is not None:
        used = comparison.reference.recordings
        yield (
            "reference",
            f"{', '.join(one.file for one in used)} ({comparison.reference.software})",
        )
