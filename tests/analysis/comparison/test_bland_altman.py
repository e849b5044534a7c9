"""Limits of agreement, against the examples of the papers and by simulation."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from analysis.comparison.bland_altman import Design, agreement, agreement_of_repeats


def reference_data(name: str) -> list[dict[str, str]]:
    folder = os.environ.get("PERPEND_REFERENCE_DATA")
    if not folder:
        pytest.skip("PERPEND_REFERENCE_DATA names no folder with the papers' data")
    lines = (Path(folder) / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def test_single_pairs_give_the_limits_of_the_1986_paper() -> None:
    """Bland & Altman 1986, peak flow by two meters: bias −2.1, SD 38.8, and its intervals.

    The paper prints −22.0 to 17.8 for the bias, −114.3 to −45.1 and 40.9 to 110.1 for limits of 2
    SD; the digits here are worked out from its table, with 1.96 SD.
    """
    rows = reference_data("bland_altman_1986_pefr.csv")

    found = agreement(
        {row["subject"]: [(float(row["mini1"]), float(row["large1"]))] for row in rows}
    )

    assert found.design is Design.SINGLE
    assert (found.subjects, found.pairs) == (17, 17)
    assert found.bias.value == pytest.approx(-2.117647, abs=1e-6)
    assert found.sd == pytest.approx(38.765130, abs=1e-6)
    assert (found.bias.low, found.bias.high) == pytest.approx((-22.048838, 17.813544), abs=1e-6)
    assert (found.lower.value, found.upper.value) == pytest.approx(
        (-78.097302, 73.862007), abs=1e-6
    )
    half = 34.521871  # t(16) · √(3 s²/n) = 2.119905 · 16.284612
    assert found.upper.high - found.upper.value == pytest.approx(half, abs=1e-4)
    assert found.lower.value - found.lower.low == pytest.approx(half, abs=1e-4)


def test_means_of_two_readings_give_the_corrected_sd_of_the_1986_paper() -> None:
    """Bland & Altman 1986: SD 33.2 of the means of two readings, 37.7 corrected."""
    rows = reference_data("bland_altman_1986_pefr.csv")

    found = agreement_of_repeats(
        {row["subject"]: [float(row["mini1"]), float(row["mini2"])] for row in rows},
        {row["subject"]: [float(row["large1"]), float(row["large2"])] for row in rows},
    )

    assert found.bias.value == pytest.approx(-6.029412, abs=1e-6)
    assert found.sd == pytest.approx(37.654779, abs=1e-6)


def test_three_readings_each_give_the_limits_of_the_1999_paper() -> None:
    """Bland & Altman 1999, section 5.2: blood pressure by observer J and by machine S, three times
    each of 85 people: limits −56.68 and 25.44."""
    rows = reference_data("bland_altman_1999_sbp.csv")

    by_machine = {row["item"]: [float(row[f"S{i}.0"]) for i in (1, 2, 3)] for row in rows}
    by_observer = {row["item"]: [float(row[f"J{i}.0"]) for i in (1, 2, 3)] for row in rows}
    found = agreement_of_repeats(by_machine, by_observer)

    assert found.design is Design.UNCHANGING
    assert found.bias.value == pytest.approx(-15.619608, abs=1e-6)
    assert found.sd**2 == pytest.approx(438.858481, abs=1e-6)
    assert (found.lower.value, found.upper.value) == pytest.approx(
        (-56.679549, 25.440333), abs=1e-6
    )


def test_pairs_of_a_changing_truth_have_the_variance_of_a_mixed_model() -> None:
    """Bland & Altman 1999, section 5.3: the variance of a difference is that between subjects and
    that within; in a balanced design REML of statsmodels gives the same two."""
    api = pytest.importorskip("statsmodels.formula.api")
    pandas = pytest.importorskip("pandas")
    rng = np.random.default_rng(3)
    subjects, times = 12, 5
    apart = 2.0 + 3.0 * rng.normal(size=(subjects, 1)) + rng.normal(size=(subjects, times))
    truth = rng.normal(size=(subjects, times)) * 20.0

    found = agreement(
        {
            f"S{i}": [(one, one + by) for one, by in zip(truth[i], apart[i], strict=True)]
            for i in range(subjects)
        }
    )

    table = pandas.DataFrame({"d": apart.ravel(), "who": np.repeat(np.arange(subjects), times)})
    fit = api.mixedlm("d ~ 1", table, groups=table["who"]).fit(reml=True)
    assert found.design is Design.CHANGING
    assert found.sd**2 == pytest.approx(float(fit.cov_re.iloc[0, 0]) + float(fit.scale), rel=1e-4)
    assert found.bias.value == pytest.approx(float(fit.fe_params["Intercept"]))


@pytest.mark.parametrize("times", [1, 4])
def test_the_intervals_of_the_limits_hold_the_truth_as_often_as_they_say(times: int) -> None:
    """Nominal 95 %; the error of a share seen in 500 trials is 1 %."""
    rng = np.random.default_rng(4)
    between, within = 2.0, 1.0
    truth = 1.96 * np.hypot(between, within)
    held = []
    for _ in range(500):
        apart = between * rng.normal(size=(12, 1)) + within * rng.normal(size=(12, times))
        found = agreement({f"S{i}": [(0.0, by) for by in rows] for i, rows in enumerate(apart)})
        held.append(
            (found.upper.low <= truth <= found.upper.high, found.bias.low <= 0.0 <= found.bias.high)
        )

    upper, bias = np.mean(held, axis=0)
    assert upper == pytest.approx(0.95, abs=0.03)
    assert bias == pytest.approx(0.95, abs=0.03)


def test_a_difference_that_grows_with_the_value_has_a_slope() -> None:
    values = np.linspace(10.0, 50.0, 9)

    found = agreement({f"S{i}": [(one, 1.1 * one)] for i, one in enumerate(values)})

    assert found.trend is not None
    assert found.trend.slope.value == pytest.approx(0.1 / 1.05)
    assert found.trend.slope.excludes_zero
    assert found.trend.p < 0.001


def test_a_trend_is_found_by_chance_as_seldom_as_it_says_however_many_pairs_of_each() -> None:
    """Subjects differ in both, pairs of one subject hang together; nominal 5 %."""
    rng = np.random.default_rng(7)
    found = []
    for _ in range(400):
        centre, bias = 10.0 * rng.normal(size=8), rng.normal(size=8)
        pairs = {
            f"S{i}": [(value, value + bias[i] + 0.2 * rng.normal()) for value in centre[i] +
                      rng.normal(size=5)]
            for i in range(8)
        }  # fmt: skip
        trend = agreement(pairs).trend
        assert trend is not None
        found.append(trend.p < 0.05)

    assert np.mean(found) == pytest.approx(0.05, abs=0.03)


def test_equal_means_have_no_trend() -> None:
    pairs = {f"S{i}": [(5.0 - by, 5.0 + by)] for i, by in enumerate((0.1, 0.3, -0.2))}

    assert agreement(pairs).trend is None


def test_too_little_is_refused() -> None:
    with pytest.raises(ValueError, match=r"too few for limits of agreement \(2\)"):
        agreement({"a": [(1.0, 2.0)], "b": [(1.0, 3.0)]})
    with pytest.raises(ValueError, match="same subjects"):
        agreement_of_repeats({"a": [1.0]}, {"b": [1.0]})
    with pytest.raises(ValueError, match="nobody was measured twice"):
        agreement_of_repeats({k: [1.0] for k in "abc"}, {k: [2.0] for k in "abc"})
