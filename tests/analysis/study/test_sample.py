"""What the statistics of a study rest on, and what is in the tables alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.errors import StudyError
from analysis.study.findings import findings
from analysis.study.sample import (
    PHASE_OF,
    Done,
    Gathering,
    read_groups,
    sample_of,
    studied_kind,
)
from analysis.tidy.practice import PRACTICE, SET_ASIDE

KEY = "force_mean_N"


def row(person: str = "T01", phase: str = "movement", **other: Any) -> dict[str, Any]:
    plain = {
        "person": person, "group": person[:1], "session": 1, "role": PRACTICE, "condition": "",
        "practised": 1, "phase": phase, "complete": True, "side": "right", "target": "one",
        **dict.fromkeys(PHASE_OF, 40.0),
    }  # fmt: skip
    return {**plain, **other}


def gathered(*rows: dict[str, Any]) -> Gathering:
    found = Gathering()
    for one in rows:
        found(one)
    return found


def test_what_is_unfinished_set_aside_or_nobodys_is_counted_but_counts_for_nothing() -> None:
    found = gathered(
        row(), row(complete=False), row(role=SET_ASIDE), row(""), row("", complete=False)
    )

    assert len(found.done) == 1
    assert (found.unfinished, found.set_aside, found.nameless) == (2, 1, 1)


def test_who_has_recordings_and_nothing_that_counts_is_told() -> None:
    found = sample_of(gathered(row("T01"), row("T02", complete=False)), ["T01", "T02", "", "T03"])

    assert found.people == ("T01",)
    assert found.absent == ("T02", "T03")
    assert found.nameless_recordings == 1


def test_repetitions_measured_against_another_target_do_not_count() -> None:
    found = sample_of(gathered(row(), row(), row(target="two")), ["T01"])

    assert (len(found.done), found.other_targets, found.target) == (2, 1, "one")


def test_the_sides_of_practice_are_counted_of_the_people_studied() -> None:
    rows = [row(), row(side="left"), row("E01", side="left"), row(role="transfer", side="left")]

    assert sample_of(gathered(*rows), ["T01", "E01"]).sides == {"left": 1, "right": 1}


@pytest.mark.parametrize(("people", "kind"), [("TEEE", "T"), ("EES", "E"), ("", "T"), ("SSE", "S")])
def test_the_kind_studied_is_trainees_or_else_the_most(people: str, kind: str) -> None:
    done = [
        Done(f"{letter}{number}", letter, 1, PRACTICE, "", 1, {})
        for number, letter in enumerate(people)
    ]

    assert studied_kind(done) == kind


def test_experts_do_not_widen_the_spread_of_trainees() -> None:
    rng = np.random.default_rng(1)

    def done(kind: str, level: float) -> list[Done]:
        values = level + rng.normal(size=(4, 2, 3))
        return [
            Done(f"{kind}{who}", kind, day, PRACTICE, "", 1, dict.fromkeys(PHASE_OF, float(value)))
            for (who, day, _), value in np.ndenumerate(values)
        ]

    trainees, experts = done("T", 40.0), done("E", 80.0)
    alone, both = (
        next(one for one in findings(given) if one.key == KEY)
        for given in (trainees, trainees + experts)
    )

    assert both.variability == alone.variability
    assert both.icc == alone.icc
    assert [one.person for one in both.learning] == ["T0", "T1", "T2", "T3"]
    (contrast,) = both.groups
    assert (contrast.first, contrast.second, contrast.people) == ("E", "T", (4, 4))
    assert contrast.difference is not None
    assert contrast.difference.mean.high < -30.0


def test_groups_are_read_and_tell_who_lacks_one(tmp_path: Path) -> None:
    path = tmp_path / "groups.csv"
    path.write_text("note,person,group\n,T01,screen\n, T02 ,no screen\n,T09,screen\n", "utf-8")

    groups = read_groups(path)
    found = sample_of(gathered(row("T01"), row("T03")), ["T01", "T03"], groups)

    assert groups == {"T01": "screen", "T02": "no screen", "T09": "screen"}
    assert found.ungrouped == ("T03",)
    assert found.unknown == ("T02", "T09")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("person,arm\nT01,a\n", "has no column 'group'"),
        ("", "has no column 'person'"),
        ("person,group\nT01\n", "row 1 lacks a person or a group"),
        ("person,group\nT01,a\nT01,b\n", "row 2 names T01 again"),
    ],
)
def test_a_table_of_groups_that_is_none_is_refused(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "groups.csv"
    path.write_text(text, "utf-8")

    with pytest.raises(StudyError, match=said):
        read_groups(path)
    with pytest.raises(StudyError, match="cannot be read"):
        read_groups(tmp_path / "none.csv")
