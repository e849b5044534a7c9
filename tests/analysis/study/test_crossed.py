"""People crossed with conditions, against a published gauge study."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.errors import StudyError
from analysis.study.crossed import crossed, crossed_table

DATA = os.environ.get("PERPEND_REFERENCE_DATA")


def helicopters(measure: str) -> NDArray[np.float64]:
    """The paper helicopters: three prototypes, three operators, three runs of each."""
    if not DATA:
        pytest.skip("PERPEND_REFERENCE_DATA is unset: no copy of the published study")
    lines = (Path(DATA) / "gage_rr_helicopter.csv").read_text().splitlines()
    cells: dict[tuple[str, str], list[float]] = {}
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        cells.setdefault((row["prototype"], row["operator"]), []).append(float(row[measure]))
    return np.array([values for _, values in sorted(cells.items())]).reshape(3, 3, 3)


def test_the_published_gauge_study() -> None:
    # The data of the R package SixSigma (ss.data.rr, time1), its analysis of variance.
    found = crossed(helicopters("time1"))

    assert found.repetition == pytest.approx(0.0214111111, abs=1e-9)
    assert found.conditions == pytest.approx(0.0006246914, abs=1e-9)
    assert found.people == pytest.approx(0.0643901235, abs=1e-9)
    assert found.together < 0.0  # clipped to 0 there
    gauge = found.repetition + found.conditions
    assert 100.0 * gauge / (gauge + found.people) == pytest.approx(25.49675, abs=1e-4)


def test_the_truth_comes_back_in_the_long_run() -> None:
    rng = np.random.default_rng(1)
    p, c, n = 300, 60, 3
    table = (
        3.0 * rng.normal(size=(p, 1, 1))
        + 2.0 * rng.normal(size=(1, c, 1))
        + 1.5 * rng.normal(size=(p, c, 1))
        + rng.normal(size=(p, c, n))
    )

    found = crossed(table)

    assert (found.together, found.repetition) == pytest.approx((2.25, 1.0), rel=0.1)
    assert found.people == pytest.approx(9.0, rel=0.3)  # 300 people: give or take 8 %
    assert found.conditions == pytest.approx(4.0, rel=0.4)
    assert found.shape == (p, c, n)


def test_people_who_change_alike_leave_nothing_to_the_interaction() -> None:
    rng = np.random.default_rng(2)
    alike = np.arange(8.0).reshape(8, 1, 1) + np.array([0.0, 3.0]).reshape(1, 2, 1)

    found = crossed(alike + 0.01 * rng.normal(size=(8, 2, 4)))

    assert found.unlike_percent < 0.1


def test_the_table_takes_who_did_everything_and_the_last_of_each() -> None:
    values = [("B", "x", 1.0), ("B", "x", 2.0), ("B", "x", 3.0), ("B", "y", 4.0), ("B", "y", 5.0)]
    values += [("A", "x", 6.0), ("A", "x", 7.0), ("A", "y", 8.0), ("A", "y", 9.0)]
    values += [("C", "x", 1.0), ("A", "y", float("nan"))]

    found = crossed_table(values)

    assert found.values.tolist() == [[[6.0, 7.0], [8.0, 9.0]], [[2.0, 3.0], [4.0, 5.0]]]
    assert found.conditions == ("x", "y")
    assert found.left_out == ("C",)


def test_one_person_with_one_condition_more_takes_the_table_from_nobody() -> None:
    shared = [(f"T{who}", name, 1.0 * k) for who in range(6) for name in "xy" for k in range(4)]

    found = crossed_table([*shared, *[("T0", "z", 1.0)] * 3])
    mostly = crossed_table([*shared, *[(f"T{who}", "z", 1.0) for who in range(5) for _ in "12"]])

    assert (found.values.shape, found.conditions) == ((6, 2, 4), ("x", "y"))
    assert (mostly.values.shape, mostly.conditions) == ((5, 3, 2), ("x", "y", "z"))
    assert mostly.left_out == ("T5",)


def test_what_is_not_complete_is_refused() -> None:
    with pytest.raises(StudyError, match="without gaps"):
        crossed(np.full((2, 2, 2), np.nan))
    with pytest.raises(StudyError, match="two people, conditions and repetitions"):
        crossed(crossed_table([("A", "x", 1.0)]).values)
