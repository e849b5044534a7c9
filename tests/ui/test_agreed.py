"""What an agreement of two methods says, and how it is drawn, where the numbers are known."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from analysis.comparison.bland_altman import agreement
from analysis.comparison.methods import AgreementOfMethods, MeasureAgreement
from ui.agreed import agreement_cells, agreement_sentences, agreement_title, has_trend
from ui.report.figures.agreement import agreement_figure

VALUES = np.linspace(20.0, 60.0, 12)
JITTER = 0.3 * np.random.default_rng(1).normal(size=12)


def measure(second: np.ndarray, trend_p: float | None = None) -> MeasureAgreement:
    """Return the force of twelve subjects as two methods say it."""
    points = tuple(zip(VALUES.tolist(), second.tolist(), strict=True))
    found = agreement({f"S{i}": [point] for i, point in enumerate(points)})
    return MeasureAgreement("force_mean_N", found, points, trend_p, "")


def found(one: MeasureAgreement, *, same_time: bool, same_rig: bool) -> AgreementOfMethods:
    rigs = (("R01",), ("R01",) if same_rig else ("R02",))
    return AgreementOfMethods(same_time, same_rig, rigs, ("T01",), (("a.h5", "b.h5"),), (one,))


@pytest.mark.parametrize(
    ("same_time", "same_rig", "title", "meaning"),
    [
        (True, False, "Agreement of two methods", "what differs is what the two say of them"),
        (False, False, "Agreement of two methods", "a bias may be the person’s"),
        (False, True, "Test and retest", "not how well two methods agree"),
    ],
)
def test_what_the_limits_mean_is_said_first(
    same_time: bool, same_rig: bool, title: str, meaning: str
) -> None:
    one = found(measure(VALUES + 1.0 + JITTER), same_time=same_time, same_rig=same_rig)

    assert agreement_title(one) == title
    assert meaning in agreement_sentences(one)[0]


def test_a_difference_that_grows_with_the_measure_is_said_and_drawn() -> None:
    grows = measure(1.1 * VALUES + JITTER, trend_p=0.001)
    level = measure(VALUES + JITTER, trend_p=0.8)

    said = agreement_sentences(found(grows, same_time=True, same_rig=False))

    assert has_trend(grows)
    assert any(
        one.startswith("Force: the difference changes with the measure, by +0.") for one in said
    )
    assert ">trend<" in agreement_figure(grows)
    assert not has_trend(level)
    assert ">trend<" not in agreement_figure(level)


def test_the_picture_names_its_lines_and_is_a_whole_element() -> None:
    svg = agreement_figure(measure(VALUES + 1.0 + JITTER))

    assert ET.fromstring(svg).tag.endswith("svg")
    for name in ("bias", "upper limit", "lower limit", "mean of both in N", "second − first in N"):
        assert f">{name}<" in svg


def test_differences_that_are_all_the_same_have_no_limits_and_that_is_said() -> None:
    same = measure(VALUES + 2.0)

    said = agreement_sentences(found(same, same_time=True, same_rig=False))

    assert agreement_cells(same) == ("+2.0", "—", "—", "12")
    assert said[-1] == "No limits (force): every pair differs by the same."


def test_what_could_not_be_had_is_said_once_with_the_reason() -> None:
    none = replace(measure(VALUES + JITTER), agreement=None, points=(), reason="too few (2)")

    said = agreement_sentences(found(none, same_time=True, same_rig=False))

    assert said[-1] == "No limits (force): too few (2)."
    assert agreement_cells(none) == ("—", "—", "—", "0")
