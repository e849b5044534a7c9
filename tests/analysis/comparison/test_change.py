"""Changes are told of whom they can be told, all measures together, and where worth telling."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.comparison.change import Basis, Changes, changes_of, sides_of
from analysis.comparison.performance import Performance, performance_of
from analysis.reference.evidence import RecordingEvidence
from analysis.study.findings import wanted

Floats = NDArray[np.float64]
Make = Callable[..., Performance]
Recording = Callable[..., RecordingEvidence]
Repetitions = Callable[..., Floats]


def between(before: Performance, after: Performance) -> Changes:
    return changes_of(sides_of(before, after))


def sessions(
    recording: Recording, repetitions: Repetitions, offsets: Floats, first_day: int, seed: int
) -> Performance:
    """Return sessions of one person, a day each, of four repetitions."""
    rng = np.random.default_rng(seed)
    return performance_of(
        [
            recording(
                "T01", repetitions(rng, 4, offset), uuid=f"day {day}",
                started_utc=f"2026-01-{day:02}T09:00:00Z",
            )
            for day, offset in enumerate(offsets, first_day)
        ]
    )  # fmt: skip


def test_a_person_who_differs_from_day_to_day_only_is_seldom_said_to_have_changed(
    recording: Recording, repetitions: Repetitions
) -> None:
    """Days scatter three times as much as repetitions; nothing changes. All nine measures hang
    together here, in twos and more, and still 5 of 100 comparisons may tell one of them."""
    told = 0
    for seed in range(120):
        days = 3.0 * np.random.default_rng(seed).normal(size=6)
        before = sessions(recording, repetitions, days[:3], 1, seed)
        after = sessions(recording, repetitions, days[3:], 11, seed + 1000)
        changes = between(before, after)
        assert changes.basis is Basis.SESSIONS
        assert changes.counts == (3, 3)
        told += any(one.told for one in changes.measures)

    assert told <= 12  # of 120 at 5 %, more than 12 has a chance below 1 %


def test_a_change_larger_than_days_differ_by_is_told_of_the_person(
    recording: Recording, repetitions: Repetitions
) -> None:
    days = np.random.default_rng(1).normal(size=8)
    before = sessions(recording, repetitions, days[:4], 1, 5)
    after = sessions(recording, repetitions, days[4:] + 9.0, 11, 6)

    for one in between(before, after).measures:
        assert one.told
        assert one.on_occasions is None
        assert one.difference is not None
        assert one.difference.counts == (4, 4)
        assert one.difference.mean.low < 9.0 < one.difference.mean.high


def test_one_occasion_on_each_side_says_nothing_of_the_person(
    performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(2)
    before = performance([repetitions(rng, 6)], day=1)

    later = between(before, performance([repetitions(rng, 6, 9.0)], day=2))

    assert later.basis is Basis.OCCASIONS
    assert not later.one_sitting
    assert all(one.difference is None and one.on_occasions for one in later.measures)
    assert all(one.told for one in later.measures)


def test_two_recordings_of_one_hour_are_one_sitting(
    recording: Recording, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(3)
    first, second = (
        performance_of([recording("T01", repetitions(rng, 5), uuid=at, started_utc=at)])
        for at in ("2026-01-01T09:00:00Z", "2026-01-01T09:40:00Z")
    )

    assert between(first, second).one_sitting


def test_a_certain_difference_too_small_to_act_on_is_not_told(
    performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(4)
    before, after = (
        performance([repetitions(rng, 400, offset)], day=day)
        for day, offset in ((1, 0.0), (2, 0.5))
    )

    angle = next(
        one for one in between(before, after).measures if one.key == "azimuth_error_mean_deg"
    )

    assert angle.p is not None
    assert angle.p < 0.001
    assert angle.least == wanted(angle.key) == 1.0
    assert not angle.told


def test_between_two_rigs_a_difference_must_exceed_what_both_leave_uncertain(
    recording: Recording, repetitions: Repetitions
) -> None:
    """Curves here have a standard uncertainty of 0.7: two of them 0.7·√2·1.96 = 1.94."""
    rng = np.random.default_rng(5)
    before, after = (
        performance_of([recording("T01", repetitions(rng, 5), uuid=rig, rig=rig)])
        for rig in ("R01", "R02")
    )

    least = {one.key: one.least for one in between(before, after).measures}

    assert least["azimuth_error_mean_deg"] == pytest.approx(0.7 * np.sqrt(2.0) * 1.96)
    assert least["force_cv_percent"] == wanted("force_cv_percent")


def test_who_is_on_one_side_only_is_left_out_by_name(
    performance: Make, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(6)
    before = performance({who: repetitions(rng, 4) for who in ("T01", "T02", "T03", "T04")}, day=1)
    after = performance(
        {who: repetitions(rng, 4, 8.0) for who in ("T02", "T03", "T04", "T05")}, day=2
    )

    found = between(before, after)

    assert (found.only_before, found.only_after) == (("T01",), ("T05",))
    assert found.counts == (3, 3)
    assert found.measures[0].difference is not None
    assert found.measures[0].difference.counts == (3, 3)
    assert found.measures[0].before == pytest.approx(0.0, abs=1.0)
