"""Criteria: met, not met or undecided, each by its own number; trials here are built by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.criteria import Criterion, Verdict, arc_of, judge, one_thing
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.trial import Measured, MeasureValue, PhaseName, Repetition, RepetitionSpans, Span

FS_HZ = 100.0
GOOD: dict[str, MeasureValue] = {
    "superior_angle_p95_deg": -2.0,
    "superior_angle_mean_deg": -5.0,
    "superior_angle_u_deg": 0.6,
    "off_axis_mean_deg": 1.5,
    "off_axis_u_deg": 0.7,
    "azimuth_error_mean_deg": 0.5,
    "hold_coverage_percent": 100.0,
    "force_mean_N": 40.0,
    "force_cv_percent": 3.0,
}
GOOD_WHOLE: dict[str, MeasureValue] = {
    "elevation_speed_peak_deg_s": 25.0,
    "released_before_down": False,
    "release_elevation_deg": 0.0,
}


@pytest.fixture
def series() -> ResolvedSeries:
    """Return an arm going to 100 degrees in 4 s and back in 4 s, the push on target throughout."""
    count = 800
    ramp = np.linspace(0.0, 100.0, count // 2)
    flat = np.zeros(count)
    force = np.tile(40.0 * Target().direction, (count, 1))
    return ResolvedSeries(
        fs_hz=FS_HZ,
        time_s=np.arange(count) / FS_HZ,
        force_n=force,
        glide_n=flat + 40.0,
        azimuth_rad=flat + np.deg2rad(30.0),
        superior_angle_rad=flat - np.deg2rad(5.0),
        off_axis_rad=flat,
        azimuth_u_rad=flat + 0.01,
        superior_angle_u_rad=flat + 0.01,
        off_axis_u_rad=flat + 0.01,
        elevation_rad=np.deg2rad(np.concatenate([ramp, ramp[::-1]])),
        plane_rad=flat,
        elevation_speed_rad_s=flat,
        missing=flat > 0,
        saturated=flat > 0,
        contact=flat == 0,
        directed=flat == 0,
    )


def repetition(**changed: Any) -> Repetition:
    """Return a good repetition but for the measures given; None is missing, with a reason."""
    spans = RepetitionSpans(
        setup=Span(0, 0),
        raising=Span(0, 400),
        top=Span(400, 400),
        lowering=Span(400, 800),
        release=Span(800, 800),
        complete=True,
    )

    def measured(good: dict[str, MeasureValue]) -> Measured:
        values = {key: changed.get(key, value) for key, value in good.items()}
        missing = [key for key, value in values.items() if value is None]
        return Measured(values, dict.fromkeys(missing, "nobody pushed"))

    return Repetition(1, spans, measured(GOOD_WHOLE), {PhaseName.MOVEMENT: measured(GOOD)})


def judged(series: ResolvedSeries, **changed: Any) -> dict[str, Criterion]:
    return {one.key: one for one in judge(repetition(**changed), series, Target())}


def test_a_good_repetition_meets_every_criterion(series: ResolvedSeries) -> None:
    criteria = judged(series)

    assert {one.verdict for one in criteria.values()} == {Verdict.MET}
    assert one_thing(tuple(criteria.values())) is None


@pytest.mark.parametrize(
    ("changed", "key", "found"),
    [
        ({"superior_angle_p95_deg": 9.0}, "upward", "+9.0°"),
        ({"hold_coverage_percent": 80.0}, "held", "80 %"),
        ({"released_before_down": True, "release_elevation_deg": 42.0}, "held", "100 %"),
        ({"elevation_speed_peak_deg_s": 50.0}, "slow", "50°/s"),
        ({"off_axis_mean_deg": 15.0}, "direction", "15.0°"),
        ({"force_mean_N": 12.0}, "force", "12 N"),
        ({"force_mean_N": 90.0}, "force", "90 N"),
        ({"force_cv_percent": 22.0}, "steady", "22 %"),
    ],
)
def test_each_fault_misses_its_own_criterion_only(
    series: ResolvedSeries, changed: dict[str, Any], key: str, found: str
) -> None:
    criteria = judged(series, **changed)

    missed = {one.key: one.found for one in criteria.values() if one.verdict is Verdict.NOT_MET}
    assert missed == {key: found}


def test_each_criterion_has_its_number_and_its_limits(series: ResolvedSeries) -> None:
    target = Target()

    found = {one.key: (one.value, one.low, one.high) for one in judged(series).values()}

    assert found == {
        "upward": (-2.0, None, target.superior_limit_deg),
        "held": (100.0, target.minimum_hold_coverage_percent, None),
        "slow": (25.0, None, target.elevation_speed_limit_deg_s),
        "direction": (1.5, None, target.cone_deg),
        "force": (40.0, target.force_band.low_n, target.force_band.high_n),
        "steady": (3.0, None, target.force_cv_limit_percent),
    }


@pytest.mark.parametrize(
    ("key", "value", "verdict"),
    [
        ("hold_coverage_percent", 95.0, Verdict.MET),
        ("force_mean_N", 20.0, Verdict.MET),
        ("force_mean_N", 60.0, Verdict.MET),
        ("force_mean_N", 60.1, Verdict.NOT_MET),
        ("elevation_speed_peak_deg_s", 30.0, Verdict.MET),
    ],
)
def test_a_limit_belongs_to_what_is_met(
    series: ResolvedSeries, key: str, value: float, verdict: Verdict
) -> None:
    judging = {
        "hold_coverage_percent": "held",
        "force_mean_N": "force",
        "elevation_speed_peak_deg_s": "slow",
    }

    assert judged(series, **{key: value})[judging[key]].verdict is verdict


def test_a_hand_that_was_never_on_held_nothing(series: ResolvedSeries) -> None:
    """There is no release then, but what was not held is known."""
    held = judged(series, hold_coverage_percent=0.0, released_before_down=None)["held"]

    assert held.verdict is Verdict.NOT_MET
    assert held.found == "0 %"


def test_a_release_that_nobody_saw_leaves_the_hold_open(series: ResolvedSeries) -> None:
    held = judged(series, released_before_down=None)["held"]

    assert (held.verdict, held.remark) == (Verdict.UNKNOWN, "nobody pushed")


def test_lost_data_are_no_place_where_the_hand_was_off(series: ResolvedSeries) -> None:
    lost = slice(100, 300)
    force, contact = series.force_n.copy(), series.contact.copy()
    force[lost] = np.nan
    contact[lost] = False

    held = judged(replace(series, force_n=force, contact=contact))["held"]

    assert held.where == ""


def test_what_can_harm_comes_first(series: ResolvedSeries) -> None:
    """Upward slip, releasing early, too fast, direction, force, steadiness."""
    order = [one.key for one in judge(repetition(), series, Target())]

    assert order == ["upward", "held", "slow", "direction", "force", "steady"]


def test_upward_slip_is_changed_before_anything_else(series: ResolvedSeries) -> None:
    criteria = judged(series, superior_angle_p95_deg=9.0, force_mean_N=90.0, force_cv_percent=30.0)

    first = one_thing(tuple(criteria.values()))

    assert first is not None
    assert first.key == "upward"


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (0.7, Verdict.MET),
        (0.9, Verdict.UNDECIDED),
        (2.0, Verdict.UNDECIDED),
        (3.1, Verdict.UNDECIDED),
        (3.3, Verdict.NOT_MET),
    ],
)
def test_nearer_to_the_limit_than_twice_its_uncertainty_is_undecided(
    series: ResolvedSeries, value: float, verdict: Verdict
) -> None:
    """Limit 2 degrees, standard uncertainty 0.6: coverage factor 2 of JCGM 100:2008, 6.3.3."""
    assert judged(series, superior_angle_p95_deg=value)["upward"].verdict is verdict


def test_a_missing_number_is_not_known_and_says_why(series: ResolvedSeries) -> None:
    keys = {"superior_angle_p95_deg", "off_axis_mean_deg", "force_mean_N", "force_cv_percent"}

    criteria = judged(series, **dict.fromkeys(keys))

    for key in ("upward", "direction", "force", "steady"):
        one = criteria[key]
        assert (one.verdict, one.found, one.remark) == (Verdict.UNKNOWN, "—", "nobody pushed")


def test_an_early_release_says_where(series: ResolvedSeries) -> None:
    contact = series.contact.copy()
    contact[600:] = False  # half-way down

    held = judged(
        replace(series, contact=contact),
        hold_coverage_percent=75.0,
        released_before_down=True,
        release_elevation_deg=50.0,
    )["held"]

    assert held.remark == "released at 50°"
    assert held.where == "from 0° to 50° on the way down"


@pytest.mark.parametrize(
    ("sideways", "superior", "advice"),
    [
        (14.0, -5.0, "less far outward"),
        (-14.0, -5.0, "further outward"),
        (2.0, 8.0, "lower"),
        (2.0, -20.0, "less far down"),
    ],
)
def test_the_advice_turns_the_push_back_by_its_larger_error(
    series: ResolvedSeries, sideways: float, superior: float, advice: str
) -> None:
    direction = judged(
        series,
        off_axis_mean_deg=14.0,
        azimuth_error_mean_deg=sideways,
        superior_angle_mean_deg=superior,
    )["direction"]

    assert direction.advice.startswith(f"Push {advice}:")


def test_the_arc_of_a_fault_is_that_of_its_longest_run(series: ResolvedSeries) -> None:
    flags = np.zeros(len(series), dtype=bool)
    flags[10:40] = True  # 0.3 s on the way up
    flags[500:560] = True  # 0.6 s on the way down

    assert arc_of(flags, series, repetition().spans) == "from 60° to 75° on the way down"


def test_a_blink_is_not_worth_pointing_at(series: ResolvedSeries) -> None:
    flags = np.zeros(len(series), dtype=bool)
    flags[100:115] = True  # 0.15 s

    assert arc_of(flags, series, repetition().spans) == ""
