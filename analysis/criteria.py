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
from analysis.said import said
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.trial import PhaseName, Repetition, RepetitionSpans

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """One criterion of one repetition.

    Attributes:
        key: Stable name.
        label: What is judged, for people.
        what: By which number it is judged.
        verdict: Met or not.
        value: That number, None if there is none.
        low: What it must not fall below, None if nothing.
        high: What it must not exceed, None if nothing.
        found: The number for people, with unit; — if there is none.
        remark: More about this repetition; without a number the reason why. Often empty.
        limit: What was wanted, in words, with unit.
        wanted: The same as short as it goes.
        advice: What to change, in plain words, for when it is not met.
        where: Part of the arc in which it went wrong, empty if nowhere in particular.
    """

    key: str
    label: str
    what: str
    verdict: Verdict
    value: float | None
    low: float | None = None
    high: float | None = None
    found: str
    remark: str
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
    number = _number(repetition, "superior_angle_p95_deg")
    limit = target.superior_limit_deg
    with np.errstate(invalid="ignore"):
        too_much = series.directed & (series.superior_angle_rad > np.deg2rad(limit))
    return Criterion(
        key="upward",
        label="upward push",
        what="angle that is exceeded 5 % of the time",
        verdict=_within(number, None, limit, _number(repetition, "superior_angle_u_deg").value),
        value=number.value,
        high=limit,
        found=number.text("+.1f", "°"),
        remark=number.reason,
        limit=said("at most {}°", _true_minus(f"{limit:+g}")),
        wanted=f"≤ {_true_minus(f'{limit:+g}')}°",
        advice="Your hand slips upward: aim a little lower, and let the arm move under the hand.",
        where=arc_of(too_much, series, repetition.spans),
    )


def _held(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    coverage = _number(repetition, "hold_coverage_percent")
    early = repetition.measured.values.get("released_before_down")
    release = _number(repetition, "release_elevation_deg")
    wanted = target.minimum_hold_coverage_percent
    verdict = _within(coverage, wanted, None)
    if verdict is Verdict.MET and early is not False:
        verdict = Verdict.UNKNOWN if early is None else Verdict.NOT_MET
    why_unknown = coverage.reason or repetition.measured.reasons.get("released_before_down", "")
    return Criterion(
        key="held",
        label="hold",
        what="share of the movement with the hand on",
        verdict=verdict,
        value=coverage.value,
        low=wanted,
        found=coverage.text(".0f", " %"),
        remark=said("released at {}", release.text(".0f", "°")) if early else why_unknown,
        limit=said("at least {} %, until the arm is down", f"{wanted:g}"),
        wanted=f"≥ {wanted:g} %",
        advice="Keep the push from before the arm leaves home until it is home again.",
        where=arc_of(~series.contact & ~np.isnan(series.magnitude_n), series, repetition.spans),
    )


def _slow(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    number = _number(repetition, "elevation_speed_peak_deg_s")
    limit = target.elevation_speed_limit_deg_s
    with np.errstate(invalid="ignore"):
        too_fast = np.abs(series.elevation_speed_rad_s) > np.deg2rad(limit)
    return Criterion(
        key="slow",
        label="speed",
        what="fastest elevation",
        verdict=_within(number, None, limit),
        value=number.value,
        high=limit,
        found=number.text(".0f", "°/s"),
        remark=number.reason,
        limit=said("at most {}°/s", f"{limit:g}"),
        wanted=f"≤ {limit:g}°/s",
        advice="Slow down: the hand cannot stay on a head that moves fast.",
        where=arc_of(too_fast, series, repetition.spans),
    )


def _direction(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    number = _number(repetition, "off_axis_mean_deg")
    limit = target.cone_deg
    with np.errstate(invalid="ignore"):
        outside = series.directed & (series.off_axis_rad > np.deg2rad(limit))
    return Criterion(
        key="direction",
        label="direction",
        what="mean direction, off the target",
        verdict=_within(number, None, limit, _number(repetition, "off_axis_u_deg").value),
        value=number.value,
        high=limit,
        found=number.text(".1f", "°"),
        remark=number.reason,
        limit=said("at most {}°", f"{limit:g}"),
        wanted=f"≤ {limit:g}°",
        advice=said(
            "Push {}: at right angles to the plane of the scapula.",
            _correction(repetition, series, target),
        ),
        where=arc_of(outside, series, repetition.spans),
    )


def _correction(repetition: Repetition, series: ResolvedSeries, target: Target) -> str:
    """Return in words which way to turn the push, by its larger error."""
    sideways = _number(repetition, "azimuth_error_mean_deg").value or 0.0
    superior = _number(repetition, "superior_angle_mean_deg").value or 0.0
    upward = superior - _target_superior_deg(repetition, series, target)
    if abs(upward) > abs(sideways):
        return "lower" if upward > 0 else "less far down"
    return "less far outward" if sideways > 0 else "further outward"


def _target_superior_deg(repetition: Repetition, series: ResolvedSeries, target: Target) -> float:
    """Return the superior angle of the target, of its mean over the movement if it moves."""
    if series.target_direction is None:
        return -target.inferior_tilt_deg
    movement = repetition.spans.movement.slice
    x, y, z = np.nanmean(series.target_direction[movement], axis=0)
    return float(np.rad2deg(np.arctan2(y, np.hypot(x, z))))


def _force(repetition: Repetition, series: ResolvedSeries, target: Target) -> Criterion:
    number = _number(repetition, "force_mean_N")
    band = target.force_band
    harder = number.value is not None and number.value < band.low_n
    with np.errstate(invalid="ignore"):
        outside = (series.magnitude_n < band.low_n) | (series.magnitude_n > band.high_n)
    return Criterion(
        key="force",
        label="force",
        what="mean over the movement",
        verdict=_within(number, band.low_n, band.high_n),
        value=number.value,
        low=band.low_n,
        high=band.high_n,
        found=number.text(".0f", " N"),
        remark=number.reason,
        limit=said("{} to {} N", f"{band.low_n:g}", f"{band.high_n:g}"),
        wanted=f"{band.low_n:g}–{band.high_n:g} N",
        advice="Press harder, then keep it." if harder else "Press more lightly.",
        where=arc_of(outside & series.contact, series, repetition.spans),
    )


def _steady(repetition: Repetition, _series: ResolvedSeries, target: Target) -> Criterion:
    number = _number(repetition, "force_cv_percent")
    limit = target.force_cv_limit_percent
    return Criterion(
        key="steady",
        label="steadiness",
        what="variation of the force about its mean",
        verdict=_within(number, None, limit),
        value=number.value,
        high=limit,
        found=number.text(".0f", " %"),
        remark=number.reason,
        limit=said("at most {} %", f"{limit:g}"),
        wanted=f"≤ {limit:g} %",
        advice="Keep the force even; lean in with the body rather than the arm.",
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
    ways = (
        (spans.raising.slice, "from {}° to {}° on the way up"),
        (spans.lowering.slice, "from {}° to {}° on the way down"),
    )
    for part, way in ways:
        elevation_deg = np.rad2deg(series.elevation_rad[part])
        for start, stop in runs_of(flags[part]):
            inside = elevation_deg[start:stop]
            if stop - start > longest[0] and np.isfinite(inside).any():
                low, high = np.nanmin(inside), np.nanmax(inside)
                longest = (stop - start, said(way, f"{low:.0f}", f"{high:.0f}"))
    return longest[1]


@dataclass(frozen=True, slots=True)
class _Number:
    """A measure that is a number, or the reason why it is not there."""

    value: float | None
    reason: str

    def text(self, form: str, unit: str) -> str:
        return "—" if self.value is None else _true_minus(f"{self.value:{form}}{unit}")


def _number(repetition: Repetition, key: str) -> _Number:
    """Return a measure of the whole repetition, or of its movement."""
    whole = repetition.measured
    holder = whole if key in whole.values else repetition.phases[PhaseName.MOVEMENT]
    value = holder.values.get(key)
    if isinstance(value, float):
        return _Number(value, "")
    return _Number(None, holder.reasons.get(key, ""))


def _within(
    number: _Number, low: float | None, high: float | None, u: float | None = None
) -> Verdict:
    if number.value is None:
        return Verdict.UNKNOWN
    below = np.inf if low is None else number.value - low
    above = np.inf if high is None else high - number.value
    room = min(below, above)
    if abs(room) < COVERAGE_FACTOR * (u or 0.0):
        return Verdict.UNDECIDED
    return Verdict.MET if room >= 0.0 else Verdict.NOT_MET


def _true_minus(number: str) -> str:
    return number.replace("-", "−", 1)
