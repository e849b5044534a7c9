"""A comparison as plain values, for JSON."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import numpy as np

from analysis.comparison.comparison import Comparison
from analysis.comparison.performance import Performance
from analysis.reference.arc_curves import Quantity
from analysis.reference.model import Reference

FACTS = ("file", "uuid", "sha256", "person", "started_utc", "condition", "side", "rig")


def plain_comparison(comparison: Comparison) -> dict[str, Any]:
    """Return plain values; what is not known is None, never NaN."""
    plain: dict[str, Any] = _plain(comparison)
    return plain


def _plain(value: Any) -> Any:
    match value:
        case Performance():
            return _performance(value)
        case Reference():
            return {"experts": [one.code for one in value.experts], "meaning": value.meaning}
        case Quantity():
            return value.key
        case Enum():
            return value.value
        case np.ndarray():
            return _plain(value.tolist())
        case tuple() | list():
            return [_plain(one) for one in value]
        case float():
            return value if np.isfinite(value) else None
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    return value


def _performance(given: Performance) -> dict[str, Any]:
    return {
        "label": given.label,
        "people": list(given.persons),
        "repetitions": len(given.people),
        "recordings": [{key: one.get(key) for key in FACTS} for one in given.recordings],
        "elevation_deg": _plain(given.elevation_deg),
        "mean": _plain(given.mean()),
    }
