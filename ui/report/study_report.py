"""A study as one HTML page: an overview to print, learning person by person, variability."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from importlib.metadata import version
from typing import Any

from markupsafe import Markup

from acquisition.software import software
from analysis.study.cohort import Cohort
from analysis.study.findings import MeasureFindings, comparisons
from analysis.study.laboratories import Precision
from analysis.study.reliability import MODELS, Icc
from analysis.study.sample import Done, Sample
from analysis.target import Target
from ui.counted import notices
from ui.learned import learner_in_words
from ui.measure_words import NAMED
from ui.numbers import count_of, shown
from ui.report.figures.learning import MOST_PEOPLE, shares, small_multiples
from ui.report.page import page
from ui.studied import (
    CHIEF,
    component_in_words,
    contrast_in_words,
    mixed_in_words,
    overview,
    plan_in_words,
    sentences,
    title_of,
    variance_in_words,
    wanted_in_words,
)
from ui.study_words import amount, kind_of, span

LIBRARIES = ("numpy", "scipy", "vqf")
DRAWN = ("superior_angle_mean_deg", "off_axis_mean_deg", "force_mean_N")
"""Measures shown person by person."""
LEAST_FORM = "ICC(2,1)"


def build_study(
    cohort: Cohort, sample: Sample, found: Sequence[MeasureFindings], target: Target
) -> str:
    """Return the page. The same study gives the same bytes."""
    done, learners = sample.done, max((len(one.learning) for one in found), default=0)
    return page(
        "study.html.j2",
        cohort=cohort,
        people=count_of(len(sample.people), "person", "people"),
        notices=notices(sample),
        kind=kind_of(sample.kind),
        repetitions=count_of(len(done), "repetition"),
        recordings=count_of(len(cohort.places), "recording"),
        left_out=count_of(len(cohort.left_out), "file"),
        sentences=sentences(found),
        chief=[(title_of(key), _wanted_of(key, target)) for key in CHIEF],
        overview=overview(done),
        multiples=list(_multiples(found, done, target)),
        too_many=learners > MOST_PEOPLE,
        shares=_shares(found),
        variability=list(_variability(found)),
        reliability=list(_reliability(found)),
        forms=list(_forms(found)),
        models=MODELS,
        operators=list(_operators(found)),
        crossed=list(_crossed(found)),
        contrasts=list(_contrasts(found)),
        comparisons=comparisons(found),
        measures=len(found),
        reasons=list(_reasons(found)),
        versions=", ".join((software(), *(f"{name} {version(name)}" for name in LIBRARIES))),
    )


def _wanted_of(key: str, target: Target) -> str:
    limits = _allowed(key, target)
    if limits is None:
        return ""
    low, high = limits
    if low <= NOTHING or low == 0.0:
        return f"≤ {high:g}"
    return f"≥ {low:g}" if high >= -NOTHING else f"{low:g} to {high:g}"


NOTHING = -1e9
"""Stands for no limit on that side."""


def _allowed(key: str, target: Target) -> tuple[float, float] | None:
    """Return what a target allows of a measure; None if it says nothing."""
    band = target.force_band
    return {
        "superior_angle_mean_deg": (NOTHING, target.superior_limit_deg),
        "off_axis_mean_deg": (0.0, target.cone_deg),
        "force_mean_N": (band.low_n, band.high_n),
        "force_cv_percent": (NOTHING, target.force_cv_limit_percent),
        "hold_coverage_percent": (target.minimum_hold_coverage_percent, -NOTHING),
    }.get(key)


def _multiples(
    found: Sequence[MeasureFindings], done: Sequence[Done], target: Target
) -> Iterator[dict[str, Any]]:
    for one in found:
        if one.key not in DRAWN or not one.learning:
            continue
        values = [each.values[one.key] for each in done]
        allowed = _allowed(one.key, target)
        if allowed is not None:  # the axes follow what was done, not a limit without end
            known = [value for value in values if value == value]
            low, high = min(known, default=0.0), max(known, default=1.0)
            allowed = max(allowed[0], low - 5.0), min(allowed[1], high + 5.0)
        svg = small_multiples(one, done, title_of(one.key), allowed)
        lines = [learner_in_words(one.key, each) for each in one.learning[:MOST_PEOPLE]]
        yield {"heading": title_of(one.key), "svg": _svg(svg), "lines": lines}


def _svg(drawn: str) -> Markup:
    """Return a drawing of our own, of numbers and our own words, as it is."""
    return Markup(drawn)  # noqa: S704, RUF100 - our own


def _shares(found: Sequence[MeasureFindings]) -> Markup | None:
    rows = [
        (
            title_of(one.key),
            [(part, one.variability.share_percent(part)) for part in one.variability.parts],
        )
        for one in found
        if one.variability is not None and one.variability.varies
    ]
    return _svg(shares(rows)) if rows else None


def _variability(found: Sequence[MeasureFindings]) -> Iterator[dict[str, Any]]:
    for one in found:
        parts = one.variability
        if parts is None or not parts.varies:
            continue
        repetitions, sessions = plan_in_words(one)
        words = {
            part.name: (component_in_words(one.key, part), mixed_in_words(one.key, part))
            for part in parts.parts
        }
        yield {
            "name": title_of(one.key),
            "mean": shown(parts.mean, NAMED[one.key][2]),
            "person": words["person"],
            "session": words.get("session", ("—", "")),
            "repetition": words["repetition"],
            "wanted": wanted_in_words(one.key),
            "repetitions": repetitions,
            "sessions": sessions,
        }


def _reliability(found: Sequence[MeasureFindings]) -> Iterator[dict[str, str]]:
    for one in found:
        if not one.icc:
            continue
        chosen = next(icc for icc in one.icc if icc.form == LEAST_FORM)
        errors = {error.kind: error for error in one.errors}
        yield {
            "name": title_of(one.key),
            "icc": _coefficient(chosen),
            "sem": amount(one.key, errors["agreement"].sem),
            "consistency": amount(one.key, errors["consistency"].sem),
            "mdc": amount(one.key, errors["agreement"].mdc95),
            "table": f"{one.table[0]} × {one.table[1]}",
        }


def _coefficient(icc: Icc) -> str:
    """Return a coefficient with its interval; one that only rounds to 1 is said to be less."""
    value, low, high = (
        "over 0.99" if each > ALMOST_ONE else shown(each, 2)
        for each in (icc.value, icc.low, icc.high)
    )
    return value if low == value == high else f"{value} {span(low, high)}"


ALMOST_ONE = 0.995


def _forms(found: Sequence[MeasureFindings]) -> Iterator[dict[str, Any]]:
    for one in found:
        if one.icc:
            yield {
                "name": title_of(one.key),
                "forms": [icc.form for icc in one.icc],
                "cells": [_coefficient(icc) for icc in one.icc],
            }


def _operators(found: Sequence[MeasureFindings]) -> Iterator[dict[str, str]]:
    for one in found:
        if one.operators is not None:
            between = amount(one.key, one.operators.between_sd)
            negative = " (estimate negative)" if one.operators.between_negative else ""
            yield {
                "name": title_of(one.key),
                "within": amount(one.key, one.operators.repeatability_sd),
                "over_days": "—"
                if one.operators.intermediate_sd is None
                else amount(one.key, one.operators.intermediate_sd),
                "between": between + negative,
                "all": amount(one.key, one.operators.reproducibility_sd),
                "limits": ", ".join(
                    amount(one.key, limit)
                    for limit in (
                        one.operators.repeatability_limit,
                        one.operators.intermediate_limit,
                        one.operators.reproducibility_limit,
                    )
                    if limit is not None
                ),
                "apart": _apart(one.operators),
            }


def _apart(found: Precision) -> str:
    """Return who stands apart by Mandel's statistics."""
    far = [one.name for one in found.operators if one.h and abs(one.h) > found.h_limit]
    loose = [one.name for one in found.operators if one.k and one.k > found.k_limit]
    told = [f"mean of {', '.join(far)}"] if far else []
    told += [f"spread of {', '.join(loose)}"] if loose else []
    return "; ".join(told) or "nobody"


def _contrasts(found: Sequence[MeasureFindings]) -> Iterator[dict[str, Any]]:
    for one in found:
        if one.key not in CHIEF:
            continue
        for contrast in (*one.groups, *one.conditions):
            yield {"name": title_of(one.key), "words": contrast_in_words(one.key, contrast)}


def _crossed(found: Sequence[MeasureFindings]) -> Iterator[dict[str, Any]]:
    for one in found:
        if one.crossed is None:
            continue
        parts = one.crossed
        values = (parts.people, parts.conditions, parts.together, parts.repetition)
        yield {
            "name": title_of(one.key),
            "cells": [variance_in_words(one.key, value) for value in values],
            "shape": " × ".join(map(str, parts.shape)),
            "conditions": ", ".join(one.crossed_table.conditions),
            "left_out": ", ".join(one.crossed_table.left_out) or "nobody",
        }


def _reasons(found: Sequence[MeasureFindings]) -> Iterator[str]:
    told: dict[str, list[str]] = {}
    for one in found:
        reasons = dict(one.reasons)
        if one.variability is not None and one.variability.reml_reason:
            reasons["mixed model"] = one.variability.reml_reason
        for what, why in reasons.items():
            told.setdefault(f"{what}: {why}", []).append(NAMED[one.key][0])
    yield from (f"{', '.join(names)}: no {reason}" for reason, names in told.items())
