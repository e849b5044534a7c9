"""Whether the hand was there, what is known of it, and where it went."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.target import Target
from analysis.trial import PhaseName

Floats = NDArray[np.float64]
Maker = Callable[..., Any]


def on_target(count: int) -> Floats:
    return np.tile(40.0 * Target().direction, (count, 1))


def test_the_hold_covers_the_time_the_hand_is_on(make: Maker, elevation: Floats) -> None:
    on = np.arange(len(elevation)) % 4 > 0

    made = make(contact=on)

    for phase in PhaseName:
        assert made.number("hold_coverage_percent", phase) == pytest.approx(75.0, abs=0.2)


def test_lost_time_is_neither_held_nor_let_go(make: Maker, elevation: Floats) -> None:
    """A quarter of the movement is lost: the hold covers what is known, and says how much is."""
    push = on_target(len(elevation))
    lost = np.arange(len(elevation)) % 4 == 0
    push[lost] = np.nan

    made = make(push, missing=lost, contact=~lost, directed=~lost)

    assert made.number("hold_coverage_percent") == 100.0
    assert made.number("missing_percent") == pytest.approx(25.0, abs=0.2)
    assert made.number("valid_percent") == pytest.approx(75.0, abs=0.2)


def test_saturation_is_counted(make: Maker, elevation: Floats) -> None:
    made = make(saturated=np.arange(len(elevation)) % 10 == 0)

    assert made.number("saturated_percent") == pytest.approx(10.0, abs=0.2)


def test_nothing_known_of_the_force_is_no_hold_of_nothing(make: Maker, elevation: Floats) -> None:
    push = np.full((len(elevation), 3), np.nan)

    made = make(push, missing=np.full(len(elevation), fill_value=True))

    for key in ("hold_coverage_percent", "on_target_percent", "force_in_band_percent"):
        assert made.phase(key) is None
        assert "not known" in made.reason(key)
    assert made.number("missing_percent") == 100.0
    assert made.number("valid_percent") == 0.0


def test_the_contact_shift_is_how_far_the_hand_is_from_where_it_was_at_set_up(
    make: Maker, elevation: Floats
) -> None:
    """12 mm away for a tenth of the raise: more than 5 % of it, so that is the shift."""
    points = np.tile([-0.02, 0.0, 0.01], (len(elevation), 1))
    raised = (elevation > 100.0) & (np.arange(len(elevation)) < np.argmax(elevation))
    points[raised] += [0.0, 0.012, 0.0]

    made = make(contact_point_m=points)

    assert made.number("contact_shift_mm", PhaseName.RAISE) == pytest.approx(12.0)
    assert made.number("contact_shift_mm", PhaseName.LOWER) == pytest.approx(0.0, abs=1e-9)


def test_three_axes_cannot_tell_where_the_hand_is(make: Maker) -> None:
    assert "three-axis" in make().reason("contact_shift_mm")


def test_without_a_set_up_there_is_nowhere_to_shift_from(make: Maker, elevation: Floats) -> None:
    late = np.arange(len(elevation)) > 600

    made = make(contact_point_m=np.zeros((len(elevation), 3)), contact=late, directed=late)

    assert "at set-up" in made.reason("contact_shift_mm")


def test_a_contact_point_that_is_unknown_in_a_phase_has_no_shift(
    make: Maker, elevation: Floats
) -> None:
    points = np.zeros((len(elevation), 3))
    points[1300:] = np.nan

    made = make(contact_point_m=points)

    assert made.number("contact_shift_mm", PhaseName.RAISE) == 0.0
    assert "in this phase" in made.reason("contact_shift_mm", PhaseName.LOWER)
