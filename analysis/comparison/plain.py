"""A comparison as plain values, for JSON."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from analysis.comparison.against_band import AgainstBand
from analysis.comparison.comparison import ArcTest, Comparison, Family
from analysis.comparison.performance import Performance
from analysis.plain import plain

FACTS = ("file", "uuid", "sha256", "person", "started_utc", "condition", "side", "rig")


def plain_comparison(comparison: Comparison) -> dict[str, Any]:
    """Return plain values; what is not known is None, never NaN."""
    reference, changes = comparison.reference, comparison.changes
    return {
        "after": _performance(comparison.after),
        "before": None if comparison.before is None else _performance(comparison.before),
        "reference": reference
        and {"experts": [one.code for one in reference.experts], "meaning": reference.meaning},
        "against": _against(comparison.against),
        "before_against": _against(comparison.before_against),
        "measures": plain(comparison.measures),
        "among_experts": list(comparison.among_experts),
        "in_reference": list(comparison.in_reference),
        "changes": changes and plain(changes.measures),
        "changes_rest_on": changes
        and {key: value for key, value in plain(changes).items() if key != "measures"},
        "families": [_family(one) for one in comparison.families],
    }


def _performance(given: Performance) -> dict[str, Any]:
    return {
        "label": given.label,
        "people": list(given.persons),
        "repetitions": len(given.people),
        "recordings": [{key: one.get(key) for key in FACTS} for one in given.recordings],
        "elevation_deg": plain(given.elevation_deg),
        "mean": plain(given.mean()),
    }


def _against(found: tuple[AgainstBand, ...] | None) -> list[dict[str, Any]] | None:
    return None if found is None else [_by_key(one) for one in found]


def _family(family: Family) -> dict[str, Any]:
    return {**_fields(family), "tests": [_by_key(test) for test in family.tests]}


def _by_key(one: AgainstBand | ArcTest) -> dict[str, Any]:
    return {**_fields(one), "quantity": one.quantity.key}


def _fields(one: AgainstBand | ArcTest | Family) -> dict[str, Any]:
    """Return the fields; a quantity, which holds functions, is told by its key instead."""
    return {
        field.name: plain(getattr(one, field.name))
        for field in fields(one)
        if field.name not in ("quantity", "tests")
    }
