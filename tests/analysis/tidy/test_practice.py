"""Sessions by pauses, practice counted, tests known by their condition."""

from __future__ import annotations

from itertools import permutations
from typing import Any

import pytest

from analysis.errors import StudyError
from analysis.tidy.practice import (
    Head,
    Place,
    head_of,
    placed,
    practised_in,
    role_of,
    roles_of,
)


def head(name: str, started: str, person: str = "T01", practised: int = 3) -> Head:
    return Head(name, name, person, started, name, "target", practised)


def result(condition: str, *practices: dict[str, Any] | None) -> dict[str, Any]:
    facts = {"condition": condition, "person": "T01", "started_utc": "2026-03-02", "uuid": "u"}
    return {
        "recording": facts,
        "target": {},
        "repetitions": [{"practice": practice, "complete": True} for practice in practices],
    }


def test_a_pause_of_more_than_four_hours_begins_a_session() -> None:
    heads = [
        head("a", "2026-03-02T09:00:00+00:00"),
        head("b", "2026-03-02T13:00:00+00:00"),
        head("c", "2026-03-02T17:00:01+00:00"),
        head("d", "2026-03-09T09:00:00+00:00"),
    ]

    assert [place.session for place in placed(heads)] == [1, 1, 2, 3]
    assert [place.session for place in placed(heads, session_gap_h=24.0)] == [1, 1, 1, 2]


def test_midnight_does_not_cut_a_session() -> None:
    heads = [head("a", "2026-03-02T23:50:00+00:00"), head("b", "2026-03-03T00:10:00+00:00")]

    assert [place.session for place in placed(heads)] == [1, 1]


def test_only_practice_counts_as_practice_and_everyone_begins_anew() -> None:
    heads = [
        head("a", "2026-03-02T09:00:00", "T01", 0),
        head("b", "2026-03-02T09:05:00", "T01", 2),
        head("c", "2026-03-02T09:10:00", "T01", 1),
        head("d", "2026-03-02T09:15:00", "T02", 1),
    ]

    assert [place.practised_before for place in placed(heads)] == [0, 0, 2, 0]


def test_the_order_in_which_recordings_come_does_not_matter() -> None:
    heads = [
        head("a", "2026-03-02T09:00:00"),
        head("b", "2026-03-02T09:00:00"),
        head("c", "2026-03-01T09:00:00"),
        head("d", "2026-03-01T09:00:00", "E01"),
    ]

    orders = {tuple(placed(order)) for order in permutations(heads)}

    assert len(orders) == 1
    assert [place.name for place in orders.pop()] == ["d", "c", "a", "b"]


def test_a_recording_without_a_date_is_told_by_name() -> None:
    with pytest.raises(StudyError, match=r"odd\.h5: began at 'yesterday', which is no date"):
        placed([head("odd.h5", "yesterday")])


@pytest.mark.parametrize(
    ("condition", "role"),
    [
        ("", "practice"),
        ("with_feedback", "practice"),
        ("without_feedback", "practice"),
        ("baseline", "baseline"),
        ("retention", "retention"),
        ("retention_1_week", "retention"),
        ("transfer_left", "transfer"),
        ("delayed_retention", "retention"),
        ("Immediate-Retention", "retention"),
        ("post_test", "retention"),
        ("posttest2", "retention"),
        ("1 week follow up", "retention"),
        ("pre_test", "baseline"),
        ("class baseline", "baseline"),
        ("before", "baseline"),
        ("delayed transfer of retention", "transfer"),
        ("retentive", "practice"),
        ("the week before", "practice"),
        ("compost_testing", "practice"),
    ],
)
def test_what_a_condition_stands_for(condition: str, role: str) -> None:
    assert role_of(condition) == role


def test_a_block_of_a_plan_tells_what_a_repetition_stands_for() -> None:
    blocks = [{"block_name": name, "set_aside": False} for name in ("Practice", "Retention test")]
    aside = {"block_name": "Practice", "set_aside": True}

    assert roles_of(result("", *blocks, aside, None)) == (
        "practice",
        "retention",
        "set_aside",
        "practice",
    )
    assert roles_of(result("baseline", blocks[0])) == ("baseline",)


def test_unfinished_and_set_aside_repetitions_are_not_practised() -> None:
    aside = {"block_name": "Practice", "set_aside": True}
    held = result("", None, None, aside)
    held["repetitions"][1]["complete"] = False

    assert practised_in(held) == (True, False, False)
    assert head_of("a.h5", "key", held).practised == 1
    assert practised_in(result("post_test", None)) == (False,)


def test_the_head_of_a_result_places_it() -> None:
    (place,) = placed([head_of("a.h5", "key", result("retention", None))])

    assert place == Place("a.h5", "key", "T01", 1, 0)
