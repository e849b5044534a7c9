"""How much must be done for a precision."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.study.precision import half_width, plan
from analysis.study.variance import Component, Components


def made(person: float, session: float | None, repetition: float) -> Components:
    parts = [
        None if value is None else Component(name, value, 0.0, 1.0, None)
        for name, value in (("person", person), ("session", session), ("repetition", repetition))
    ]
    assert parts[0] is not None
    assert parts[2] is not None
    return Components(20.0, parts[0], parts[1], parts[2], 8, 16, 96, balanced=True, reml_reason="")


def test_a_mean_of_that_many_has_the_wanted_interval_and_of_one_less_has_not() -> None:
    found = plan(made(9.0, 1.0, 4.0), 0.8)

    assert found.repetitions is not None
    assert half_width(4.0, found.repetitions) <= 0.8 < half_width(4.0, found.repetitions - 1)


def test_days_that_differ_take_sessions_however_many_repetitions_they_have() -> None:
    found = plan(made(9.0, 1.0, 4.0), 0.8, each=1000)

    assert found.sessions == plan(made(9.0, 1.0, 0.0), 0.8).sessions == 7  # (1.96 / 0.8)² = 6.002


def test_the_interval_is_as_wide_as_means_really_scatter() -> None:
    means = np.random.default_rng(1).normal(scale=2.0, size=(20_000, 24)).mean(axis=1)

    assert np.mean(np.abs(means) <= half_width(4.0, 24)) == pytest.approx(0.95, abs=0.005)


def test_what_no_plan_reaches_and_what_is_not_known_is_none() -> None:
    found = plan(made(9.0, None, 4.0), 0.01)

    assert (found.repetitions, found.sessions) == (None, None)
    with pytest.raises(ValueError, match="above 0"):
        plan(made(9.0, None, 4.0), 0.0)
