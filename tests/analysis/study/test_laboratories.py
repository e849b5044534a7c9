"""Precision between operators against the published interlaboratory example."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from analysis.errors import StudyError
from analysis.study.laboratories import h_limit, k_limit, nested_precision, precision
from analysis.study.variance import components

DATA = os.environ.get("PERPEND_REFERENCE_DATA")


def glucose(level: str) -> dict[str, list[float]]:
    """ASTM E691, the glucose example: eight laboratories, three results each."""
    if not DATA:
        pytest.skip("PERPEND_REFERENCE_DATA is unset: no copy of the published example")
    lines = (Path(DATA) / "astm_e691_glucose.csv").read_text().splitlines()
    found: dict[str, list[float]] = {}
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        if row["Material"] == level:
            found.setdefault(row["Laboratory"], []).append(float(row["Glucose"]))
    return found


@pytest.mark.parametrize(
    ("level", "mean", "s_r", "s_reproducibility"),
    [
        ("A", 41.5183, 1.0632, 1.0632),
        ("D", 194.7171, 2.6251, 3.3657),
        ("E", 294.4921, 3.9350, 4.1923),
    ],
)
def test_the_published_precision_of_the_glucose_example(
    level: str, mean: float, s_r: float, s_reproducibility: float
) -> None:
    # ASTM E691, table of the glucose example (levels A, D and E).
    found = precision(glucose(level))

    assert found.mean == pytest.approx(mean, abs=5e-5)
    assert found.repeatability_sd == pytest.approx(s_r, abs=5e-5)
    assert found.reproducibility_sd == pytest.approx(s_reproducibility, abs=5e-5)
    assert found.between_negative is (level == "A")


def test_the_limits_of_the_example() -> None:
    found = precision(glucose("D"))

    assert found.repeatability_limit == pytest.approx(7.350, abs=5e-4)
    assert found.reproducibility_limit == pytest.approx(9.424, abs=5e-4)


@pytest.mark.parametrize(
    ("level", "k"), [("A", 1.704), ("B", 1.849), ("C", 2.407), ("D", 1.784), ("E", 2.335)]
)
def test_the_greatest_k_of_each_level(level: str, k: float) -> None:
    found = precision(glucose(level))

    assert max(one.k for one in found.operators if one.k) == pytest.approx(k, abs=5e-4)


def test_critical_values_of_h_and_k_are_those_of_the_simulated_statistics() -> None:
    """Against their own distributions, drawn: eight operators, three results, 1 %."""
    drawn = np.random.default_rng(5).normal(size=(200_000, 8, 3))
    means, variances = drawn.mean(axis=2), drawn.var(axis=2, ddof=1)
    h = (means[:, 0] - means.mean(axis=1)) / means.std(axis=1, ddof=1)
    k = np.sqrt(variances[:, 0] / variances.mean(axis=1))

    assert np.mean(np.abs(h) > h_limit(8)) == pytest.approx(0.01, abs=0.001)
    assert np.mean(k > k_limit(8, 3)) == pytest.approx(0.01, abs=0.001)


def test_an_operator_who_stands_apart_and_one_who_repeats_badly_are_seen() -> None:
    rng = np.random.default_rng(2)
    results = {f"E{number:02}": list(40.0 + rng.normal(size=6)) for number in range(8)}
    results["E03"] = list(48.0 + rng.normal(size=6))
    results["E05"] = list(40.0 + 6.0 * rng.normal(size=6))

    found = precision(results)

    apart = [one.name for one in found.operators if one.h and abs(one.h) > found.h_limit]
    loose = [one.name for one in found.operators if one.k and one.k > found.k_limit]
    assert (apart, loose) == (["E03"], ["E05"])


def test_unequal_numbers_give_the_truth_in_the_long_run() -> None:
    rng = np.random.default_rng(3)
    results = {
        f"E{number:03}": list(10.0 + 2.0 * rng.normal() + rng.normal(size=rng.integers(2, 9)))
        for number in range(400)
    }

    found = precision(results)

    assert found.repeatability_sd == pytest.approx(1.0, abs=0.05)
    assert found.between_sd == pytest.approx(2.0, abs=0.15)


def over_days(
    rng: np.random.Generator, people: int = 60, days: int = 3, each: int = 4
) -> dict[str, dict[int, list[float]]]:
    """Results with SD 1 in a session, 2 between the days of one person, 3 between people."""
    values = (
        3.0 * rng.normal(size=(people, 1, 1))
        + 2.0 * rng.normal(size=(people, days, 1))
        + rng.normal(size=(people, days, each))
    )
    return {
        f"E{who:02}": {day: list(values[who, day]) for day in range(days)} for who in range(people)
    }


def test_repeatability_is_of_one_session_and_days_make_it_intermediate() -> None:
    results = over_days(np.random.default_rng(1))
    rows = [
        (value, who, day)
        for who, sessions in results.items()
        for day, own in sessions.items()
        for value in own
    ]
    values, people, days = zip(*rows, strict=True)
    parts = components(np.array(values), people, days)

    found = nested_precision(results, parts)

    assert found.repeatability_sd == pytest.approx(1.0, rel=0.1)
    assert found.intermediate_sd == pytest.approx(np.sqrt(5.0), rel=0.1)
    assert found.reproducibility_sd == pytest.approx(np.sqrt(14.0), rel=0.15)
    assert found.repeatability_sd == parts.repeatability_sd
    assert found.intermediate_limit == pytest.approx(2.8 * parts.intermediate_sd)
    assert np.mean([one.k > found.k_limit for one in found.operators if one.k]) < 0.06


def test_one_session_each_gives_what_the_standard_does() -> None:
    rng = np.random.default_rng(2)
    results = {f"E{who}": [float(v) for v in 10.0 * who + rng.normal(size=4)] for who in range(5)}
    rows = [(value, who, 1) for who, own in results.items() for value in own]
    values, people, days = zip(*rows, strict=True)

    plain = precision(results)
    found = nested_precision(
        {who: {1: own} for who, own in results.items()}, components(np.array(values), people, days)
    )

    assert found.intermediate_sd is None
    assert found.intermediate_limit is None
    for name in (
        "mean",
        "repeatability_sd",
        "between_sd",
        "reproducibility_sd",
        "h_limit",
        "k_limit",
    ):
        assert getattr(found, name) == pytest.approx(getattr(plain, name))
    assert [one.k for one in found.operators] == pytest.approx([one.k for one in plain.operators])


def test_results_that_are_not_known_are_left_out_and_too_few_are_refused() -> None:
    both = {"E01": [1.0, 2.0, float("nan")], "E02": [3.0, 4.0]}

    assert precision(both).mean == 2.5
    with pytest.raises(StudyError, match="two operators or more with two results"):
        precision({"E01": [1.0, 2.0], "E02": [3.0]})
    with pytest.raises(StudyError, match="two results in a session"):
        nested_precision(
            {"E01": {1: [1.0], 2: [2.0]}, "E02": {1: [3.0, 4.0]}},
            components(np.array([1.0, 2.0, 3.0, 4.0]), ["E01", "E01", "E02", "E02"], [1, 2, 1, 1]),
        )
