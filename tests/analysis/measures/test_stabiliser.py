"""The hand on the scapula block, as the measures see it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.trial import PhaseName

Floats = NDArray[np.float64]
Maker = Callable[..., Any]


def test_its_force_and_coverage_are_told_for_each_phase(make: Maker, elevation: Floats) -> None:
    """18 N on the way up and 12 N on half of the way down."""
    number = np.arange(len(elevation))
    top = len(elevation) // 2
    force = np.where(number < top, 18.0, 12.0)
    on = (number < top) | (number % 2 == 0)

    made = make(stabiliser_n=force, stabiliser_on=on)

    assert made.phase("stabiliser_present", PhaseName.RAISE) is True
    assert made.number("stabiliser_force_mean_N", PhaseName.RAISE) == pytest.approx(18.0)
    assert made.number("stabiliser_force_mean_N", PhaseName.LOWER) == pytest.approx(12.0)
    assert made.number("stabiliser_coverage_percent", PhaseName.RAISE) == 100.0
    assert made.number("stabiliser_coverage_percent", PhaseName.LOWER) == pytest.approx(50, abs=0.2)


def test_coverage_is_of_the_hold_and_not_of_the_phase(make: Maker, elevation: Floats) -> None:
    """Where the gliding hand is off, the other one has nothing to steady."""
    held = np.arange(len(elevation)) % 4 > 1

    made = make(contact=held, stabiliser_n=np.full(len(elevation), 18.0), stabiliser_on=held)

    assert made.number("stabiliser_coverage_percent") == 100.0


def test_a_hand_that_stayed_away_is_absent_and_has_no_force(make: Maker, elevation: Floats) -> None:
    nothing = np.zeros(len(elevation))

    made = make(stabiliser_n=nothing, stabiliser_on=nothing > 0)

    assert made.phase("stabiliser_present") is False
    assert made.number("stabiliser_coverage_percent") == 0.0
    assert "hardly on" in made.reason("stabiliser_force_mean_N")


def test_unknown_is_not_absent(make: Maker, elevation: Floats) -> None:
    unknown = np.full(len(elevation), np.nan)

    made = make(stabiliser_n=unknown, stabiliser_on=np.zeros(len(elevation), dtype=np.bool_))

    assert made.phase("stabiliser_present") is None
    assert "not known" in made.reason("stabiliser_present")
    assert made.phase("stabiliser_coverage_percent") is None


def test_a_rig_without_that_cell_says_so(make: Maker) -> None:
    made = make()

    for key in ("present", "force_mean_N", "coverage_percent"):
        assert made.phase(f"stabiliser_{key}") is None
        assert "no cell under the stabilising hand" in made.reason(f"stabiliser_{key}")
