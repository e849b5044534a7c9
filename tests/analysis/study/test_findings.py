"""What a study says of its measures, from rows as the main table has them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from analysis.reference.evidence import COMPARED
from analysis.study.findings import findings, session_table
from analysis.study.sample import Done, Gathering
from analysis.tidy.practice import PRACTICE, RETENTION, SET_ASIDE

KEY = "force_mean_N"


def rows(people: int = 5, sessions: int = 3, repetitions: int = 4) -> Iterator[dict[str, Any]]:
    rng = np.random.default_rng(4)
    for who in range(people):
        force, practised = 40.0 + 4.0 * rng.normal(), 0
        for session in range(1, sessions + 1):
            today = force + 2.0 * rng.normal()
            for _ in range(repetitions):
                practised += 1
                value = today + rng.normal()
                for phase in ("raise", "lower", "movement"):
                    yield {
                        "person": f"T{who:02}", "group": "T", "session": session,
                        "role": PRACTICE, "condition": "", "practised": practised, "phase": phase,
                        "complete": True, "side": "right", "target": "one",
                        **{key: value + (phase == "raise") for key, _ in COMPARED},
                    }  # fmt: skip


def gathered(given: Iterator[dict[str, Any]]) -> list[Done]:
    gathering = Gathering()
    for row in given:
        gathering(row)
    return gathering.done


def test_each_repetition_is_kept_once_with_each_measure_of_its_own_phase() -> None:
    given = list(rows())

    done = gathered(iter(given))

    assert len(done) == len(given) // 3
    assert done[0].values[KEY] == given[2][KEY]  # of the movement
    assert done[0].values["superior_drift_deg"] == given[0]["superior_drift_deg"]  # of the raise


def test_what_was_set_aside_and_what_is_not_known_does_not_count() -> None:
    given = list(rows(2, 2, 2))
    for row in given[:3]:
        row["role"] = SET_ASIDE
    given[5][KEY] = None

    done = gathered(iter(given))

    assert len(done) == len(given) // 3 - 1
    assert np.isnan(done[0].values[KEY])


def test_variability_reliability_and_plan_are_of_practice() -> None:
    done = gathered(rows())
    test = [
        Done(one.person, one.group, 9, RETENTION, "", one.practised, {**one.values, KEY: 1e3})
        for one in done[:4]
    ]

    with_test, without = (
        next(one for one in findings(given) if one.key == KEY) for given in ([*done, *test], done)
    )

    assert with_test.variability == without.variability
    assert with_test.icc == without.icc
    assert without.values == len(done)
    assert without.variability is not None
    assert without.variability.repetition.estimate == pytest.approx(1.0, rel=0.6)
    assert without.plan is not None
    assert without.plan.wanted == 2.0
    assert without.table == (5, 3)


def test_a_study_too_small_says_why() -> None:
    found = findings(gathered(rows(1, 1, 1)))

    assert found[0].variability is None
    assert set(found[0].reasons) == {"variability", "reliability", "crossed"}


def test_a_study_where_nothing_counts_says_why_too() -> None:
    test = Done("T01", "T", 1, RETENTION, "", 1, {key: 1.0 for key, _ in COMPARED})
    unknown = Done("T01", "T", 1, PRACTICE, "", 1, {key: np.nan for key, _ in COMPARED})

    for done in ([], [test], [unknown]):
        found = findings(done)

        assert found[0].variability is None
        assert found[0].reasons["variability"] == "variance between people needs two people or more"
        assert (found[0].groups, found[0].conditions) == ((), ())


def test_what_never_differs_has_no_reliability_and_no_precision() -> None:
    given = [{**row, KEY: 100.0} for row in rows()]
    still = [{**row, KEY: float(row["person"][1:])} for row in rows()]  # of each person one value

    for constant in (given, still):
        found = next(one for one in findings(gathered(iter(constant))) if one.key == KEY)

        assert found.icc == ()
        assert found.reasons["reliability"] == "nobody's sessions differ"
    found = next(one for one in findings(gathered(iter(given))) if one.key == KEY)
    assert found.variability is not None
    assert not found.variability.varies
    assert (found.plan, found.operators) == (None, None)


def test_the_table_of_sessions_keeps_as_many_cells_as_it_can() -> None:
    def one(person: str, session: int, value: float) -> Done:
        return Done(person, "T", session, PRACTICE, "", 1, {KEY: value})

    done = [one("A", s, float(s)) for s in (1, 2, 3)] + [one("B", s, 10.0 * s) for s in (1, 2)]
    done += [one("C", 1, 0.0), one("B", 2, 40.0)]

    assert session_table(done, KEY).tolist() == [[1.0, 2.0], [10.0, 30.0]]
    assert session_table([], KEY).shape == (0, 2)
