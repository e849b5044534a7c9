"""Measures of the force against closed forms."""

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
FS_HZ = 200.0


def along(size_n: NDArray[np.floating]) -> Floats:
    return np.asarray(size_n[:, np.newaxis] * Target().direction)


def test_a_trembling_push_is_steady_by_its_tremble(make: Maker, elevation: Floats) -> None:
    """40 + sin: SD 1/√2, 1.7678 %, and no trend to take out."""
    time_s = np.arange(len(elevation)) / FS_HZ

    made = make(along(40.0 + np.sin(2.0 * np.pi * 4.0 * time_s)))

    for phase in PhaseName:
        assert made.number("force_mean_N", phase) == pytest.approx(40.0, abs=0.02)
        assert made.number("force_sd_N", phase) == pytest.approx(np.sqrt(0.5), abs=0.01)
        assert made.number("force_cv_percent", phase) == pytest.approx(1.7678, abs=0.02)
        assert made.number("force_detrended_sd_N", phase) == pytest.approx(np.sqrt(0.5), abs=0.01)
        assert made.number("glide_mean_N", phase) == pytest.approx(40.0, abs=0.02)


def test_a_slowly_growing_push_does_not_tremble(make: Maker, elevation: Floats) -> None:
    made = make(along(30.0 + 0.01 * np.arange(len(elevation))))

    span = made.repetition.spans.movement
    assert made.number("force_sd_N") == pytest.approx(0.01 * len(span) / np.sqrt(12.0), rel=1e-3)
    assert made.number("force_detrended_sd_N") == pytest.approx(0.0, abs=1e-9)


def test_a_gap_in_a_growing_push_does_not_tremble_either(make: Maker, elevation: Floats) -> None:
    push = along(30.0 + 0.01 * np.arange(len(elevation)))
    push[1000:1800] = np.nan

    made = make(push, directed=np.isfinite(push[:, 0]))

    assert made.number("force_detrended_sd_N") == pytest.approx(0.0, abs=1e-9)


def test_force_is_measured_while_the_hand_is_on(make: Maker, elevation: Floats) -> None:
    """The band counts all of the known time instead: without the hand it is not in it."""
    size = np.where(np.arange(len(elevation)) % 2, 40.0, 0.0)

    made = make(along(size))

    assert made.number("force_mean_N") == pytest.approx(40.0)
    assert made.number("force_in_band_percent") == pytest.approx(50.0, abs=0.1)


def test_the_band_belongs_to_itself(make: Maker, elevation: Floats) -> None:
    third = np.arange(len(elevation)) % 3
    size = np.choose(third, [19.99, 20.0, 60.01])

    assert make(along(size)).number("force_in_band_percent") == pytest.approx(33.3, abs=0.1)


def test_no_hand_has_no_force_but_a_known_share_in_the_band(make: Maker, elevation: Floats) -> None:
    made = make(along(np.zeros(len(elevation))))

    assert made.phase("force_mean_N") is None
    assert "hardly on" in made.reason("force_mean_N")
    assert made.number("force_in_band_percent") == 0.0


def test_a_variation_is_not_divided_by_next_to_nothing(make: Maker, elevation: Floats) -> None:
    made = make(
        along(np.full(len(elevation), 1.5)), contact=np.full(len(elevation), fill_value=True)
    )

    assert made.number("force_sd_N") == pytest.approx(0.0, abs=1e-9)
    assert "too small to divide" in made.reason("force_cv_percent")
