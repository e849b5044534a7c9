"""Drift of the superior angle: what was put in comes out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.trial import PhaseName

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
PushAt = Callable[..., Floats]


@settings(deadline=None, max_examples=20)
@given(per_10deg=st.floats(-2.0, 2.0))
def test_a_drift_with_elevation_is_found_on_both_ways(
    make: Maker, elevation: Floats, push_at: PushAt, per_10deg: float
) -> None:
    """Late minus early: up the arc on the raise, down it on the lower, nothing over both."""
    superior = -5.0 + per_10deg * elevation / 10.0

    made = make(push_at(np.full(len(elevation), 30.0), superior))

    for phase in PhaseName:
        found = made.number("superior_drift_deg_per_10deg", phase)
        assert found == pytest.approx(per_10deg, abs=1e-6)
    # From the lowest to the highest tenth of what is left of 150° when the top is taken off.
    change = made.number("superior_drift_deg", PhaseName.RAISE)
    assert change == pytest.approx(per_10deg * 13.6, abs=abs(per_10deg) * 0.5 + 1e-6)
    assert made.number("superior_drift_deg", PhaseName.LOWER) == pytest.approx(
        -change, abs=abs(per_10deg) * 0.2 + 1e-6
    )
    assert made.number("superior_drift_deg") == pytest.approx(0.0, abs=0.01)


def test_a_hand_that_slips_and_stays_up_drifts_over_the_whole_movement(
    make: Maker, elevation: Floats, push_at: PushAt
) -> None:
    behind_the_top = np.arange(len(elevation)) > np.argmax(elevation)

    made = make(push_at(np.full(len(elevation), 30.0), np.where(behind_the_top, 3.0, -5.0)))

    assert made.number("superior_drift_deg") == pytest.approx(8.0)
    assert made.number("superior_drift_deg", PhaseName.RAISE) == pytest.approx(0.0, abs=1e-9)


def test_a_jerk_of_the_hand_does_not_bend_the_slope(
    make: Maker, elevation: Floats, push_at: PushAt
) -> None:
    """Robust: a tenth of the raise 30° off moves a least-squares line, not this one."""
    superior = 0.5 * elevation / 10.0
    superior[1000:1100] += 30.0

    made = make(push_at(np.full(len(elevation), 30.0), superior))

    found = made.number("superior_drift_deg_per_10deg", PhaseName.RAISE)
    assert found == pytest.approx(0.5, abs=0.15)


def test_the_95th_percentile_is_exceeded_five_percent_of_the_time(
    make: Maker, elevation: Floats, push_at: PushAt
) -> None:
    superior = np.where(np.arange(len(elevation)) % 25 < 1, 12.0, -5.0)

    made = make(push_at(np.full(len(elevation), 30.0), superior))

    assert made.number("superior_angle_p95_deg") == pytest.approx(-5.0)
    assert made.number("superior_force_p95_N") == pytest.approx(40.0 * np.sin(np.deg2rad(-5.0)))


def test_a_drift_needs_enough_of_the_arc(make: Maker, elevation: Floats) -> None:
    made = make(directed=elevation > 142.0)

    for key in ("superior_drift_deg_per_10deg", "superior_drift_deg"):
        assert made.phase(key, PhaseName.RAISE) is None
        assert "less than 10° of the arc" in made.reason(key, PhaseName.RAISE)
    assert made.phase("superior_angle_mean_deg", PhaseName.RAISE) is not None
