"""Criteria: met or not, each by its own measure. There is no score.

A value closer to its limit than twice its standard uncertainty is undecided. The order is that
in which things are worth changing: what can harm first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from analysis.runs import runs_of
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.trial import Measured, PhaseName, Repetition, RepetitionSpans

Flags = NDArray[np.bool_]

COVERAGE_FACTOR = 2.0
"""Twice the standard uncertainty covers about 95 % (JCGM 100:2008, 6.3.3)."""
SHORTEST_S = 0.2
"""A shorter excess is not worth pointing at."""


class Verdict(StrEnum):
    """Whether a criterion is met."""

    MET = "met"
    NOT_MET = "not met"
    UNDECIDED = "undecided"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Criterion:
    """One criterion of one repetition.

    Attributes:
        key: Stable name.
        label: What is judged, for people.
        verdict: Met or not.
        found: The number that was found, with unit.
        detail: What the number says; without a number the reason why.
        limit: What was wanted, in words, with unit.
        wanted: The same as short as it goes.
        advice: What to change, in plain words, for when it is not met.
        where: Part of the arc in which it went wrong, empty if nowhere in particular.
    """

    key: str
    label: str
    verdict: Verdict
    found: str
    detail: str
    limit: str
    wanted: str
    advice: str
    where: str = ""


def judge(repetition: Repetition, series: ResolvedSeries, target: Target) -> tuple[Criterion, ...]:
    """Return every criterion of a repetition, in the order in which to change things."""
    return tuple(criterion(repetition, series, target) for criterion in CRITERIA)


def one_thing(criteria: tuple[Criterion, ...]) -> Criterion | None:
    """Return the first criterion that is not met: the one thing to change. None if all is well."""
    return next((one for one in criteria if one.verdict is Verdict.NOT_MET), None)


def _upward(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    value = _number(repetition, "superior_angle_p95_deg")
    u = _number(repetition, "superior_angle_u_deg")
    limit = target.superior_limit_deg
    with np.errstate(invalid="ignore"):
        too_much = series.directed & (series.superior_angle_rad > np.deg2rad(limit))
    return Criterion(
        "upward",
        "upward push",
        _at_most(value, limit, u),
        *_found(repetition, "superior_angle_p95_deg", "°", "+.1f", "exceeded 5 % of the time"),
        f"at most {_true_minus(f'{limit:+g}')}°",
        f"≤ {_true_minus(f'{limit:+g}')}°",
        "Your hand slips upward: aim a little lower, and let the arm move under the hand.",
        arc_of(too_much, series, repetition.spans),
    )


def _held(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    early = repetition.measured.values.get("released_before_down")
    coverage = _number(repetition, "hold_coverage_percent")
    at = repetition.measured.values.get("release_elevation_deg")
    wanted = target.minimum_hold_coverage_percent
    if early is None or coverage is None:
        verdict = Verdict.UNKNOWN
    else:
        verdict = Verdict.MET if not early and coverage >= wanted else Verdict.NOT_MET
    release = f", released at {at:.0f}°" if early and isinstance(at, float) else ""
    return Criterion(
        "held",
        "hold",
        verdict,
        *_found(repetition, "hold_coverage_percent", " %", ".0f", f"of the movement{release}"),
        f"at least {wanted:g} %, until the arm is down",
        f"≥ {wanted:g} %",
        "Keep the push from before the arm leaves home until it is home again.",
        arc_of(~series.contact, series, repetition.spans),
    )


def _slow(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    value = _number(repetition, "elevation_speed_peak_deg_s")
    limit = target.elevation_speed_limit_deg_s
    with np.errstate(invalid="ignore"):
        too_fast = np.abs(series.elevation_speed_rad_s) > np.deg2rad(limit)
    return Criterion(
        "slow",
        "speed",
        _at_most(value, limit, 0.0),
        *_found(repetition, "elevation_speed_peak_deg_s", "°/s", ".0f", "at the fastest"),
        f"at most {limit:g}°/s",
        f"≤ {limit:g}°/s",
        "Slow down: the hand cannot stay on a head that moves fast.",
        arc_of(too_fast, series, repetition.spans),
    )


def _direction(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    value, u = _number(repetition, "off_axis_mean_deg"), _number(repetition, "off_axis_u_deg")
    with np.errstate(invalid="ignore"):
        outside = series.directed & (series.off_axis_rad > np.deg2rad(target.cone_deg))
    return Criterion(
        "direction",
        "direction",
        _at_most(value, target.cone_deg, u),
        *_found(repetition, "off_axis_mean_deg", "°", ".1f", "off the target"),
        f"at most {target.cone_deg:g}°",
        f"≤ {target.cone_deg:g}°",
        f"Push {_correction(repetition, target)}: at right angles to the plane of the scapula.",
        arc_of(outside, series, repetition.spans),
    )


def _correction(repetition: Repetition, target: Target) -> str:
    """Return in words which way to turn the push, by its larger error."""
    sideways = _number(repetition, "azimuth_error_mean_deg") or 0.0
    upward = (_number(repetition, "superior_angle_mean_deg") or 0.0) + target.inferior_tilt_deg
    if abs(upward) > abs(sideways):
        return "lower" if upward > 0 else "less far down"
    return "less far outward" if sideways > 0 else "further outward"


def _force(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    value = _number(repetition, "force_mean_N")
    band = target.force_band
    if value is None:
        verdict = Verdict.UNKNOWN
    else:
        verdict = Verdict.MET if band.low_n <= value <= band.high_n else Verdict.NOT_MET
    harder = value is not None and value < band.low_n
    with np.errstate(invalid="ignore"):
        outside = (series.magnitude_n < band.low_n) | (series.magnitude_n > band.high_n)
    return Criterion(
        "force",
        "force",
        verdict,
        *_found(repetition, "force_mean_N", " N", ".0f", "on average"),
        f"{band.low_n:g} to {band.high_n:g} N",
        f"{band.low_n:g}–{band.high_n:g} N",
        "Press harder, then keep it." if harder else "Press more lightly.",
        arc_of(outside & series.contact, series, repetition.spans),
    )


def _steady(repetition: Repetition, _series: ResolvedSeries, target: Target) -> Criterion:
    value = _number(repetition, "force_cv_percent")
    return Criterion(
        "steady",
        "steadiness",
        _at_most(value, target.force_cv_limit_percent, 0.0),
        *_found(repetition, "force_cv_percent", " %", ".0f", "variation of the force"),
        f"at most {target.force_cv_limit_percent:g} %",
        f"≤ {target.force_cv_limit_percent:g} %",
        "Keep the force even; lean in with the body rather than the arm.",
    )


CRITERIA: tuple[Callable[[Repetition, ResolvedSeries, Target], Criterion], ...] = (
    _upward,
    _held,
    _slow,
    _direction,
    _force,
    _steady,
)


def arc_of(flags: Flags, series: ResolvedSeries, spans: RepetitionSpans) -> str:
    """Return in words on which part of the arc the longest run of *flags* (n,) lies."""
    longest: tuple[int, str] = (int(SHORTEST_S * series.fs_hz), "")
    ways = ((spans.raising.slice, "on the way up"), (spans.lowering.slice, "on the way down"))
    for part, way in ways:
        elevation_deg = np.rad2deg(series.elevation_rad[part])
        for start, stop in runs_of(flags[part]):
            inside = elevation_deg[start:stop]
            if stop - start > longest[0] and np.isfinite(inside).any():
                low, high = np.nanmin(inside), np.nanmax(inside)
                longest = (stop - start, f"from {low:.0f}° to {high:.0f}° {way}")
    return longest[1]


def _holder(repetition: Repetition, key: str) -> Measured:
    """Return where a measure is kept: with the whole repetition or with its movement."""
    whole = repetition.measured
    return whole if key in whole.values else repetition.phases[PhaseName.MOVEMENT]


def _number(repetition: Repetition, key: str) -> float | None:
    value = _holder(repetition, key).values.get(key)
    return value if isinstance(value, float) else None


def _found(repetition: Repetition, key: str, unit: str, form: str, detail: str) -> tuple[str, str]:
    """Return a measure as text with its detail; without a number the reason why."""
    value = _number(repetition, key)
    if value is None:
        return "—", _holder(repetition, key).reasons.get(key, "")
    return _true_minus(f"{value:{form}}{unit}"), detail


def _at_most(value: float | None, limit: float, u: float | None) -> Verdict:
    if value is None:
        return Verdict.UNKNOWN
    if abs(value - limit) < COVERAGE_FACTOR * (u or 0.0):
        return Verdict.UNDECIDED
    return Verdict.MET if value <= limit else Verdict.NOT_MET


def _true_minus(number: str) -> str:
    return number.replace("-", "−", 1)
