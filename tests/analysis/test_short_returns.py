"""Two lifts without home between count as one repetition, and that is said."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from acquisition.virtual_rig import SensorModel
from analysis.pipeline import analyse
from analysis.repetition_settings import RepetitionSettings
from analysis.repetitions import find_repetitions
from analysis.series import ResolvedSeries
from analysis.short_returns import ShortReturn, short_returns
from analysis.trial import Severity

Maker = Callable[..., Any]
Floats = NDArray[np.float64]
DEFAULTS = RepetitionSettings()
FS_HZ = 200.0


def go(*corners_deg: float) -> Floats:
    """Return an elevation that rests a second at each corner and takes three between them."""
    parts = []
    share = (1.0 - np.cos(np.pi * np.linspace(0.0, 1.0, int(3 * FS_HZ)))) / 2.0
    for index, corner_deg in enumerate(corners_deg):
        parts.append(np.full(int(FS_HZ), corner_deg))
        if index + 1 < len(corners_deg):
            parts.append(corner_deg + (corners_deg[index + 1] - corner_deg) * share)
    return np.concatenate(parts)


def found_in(series: ResolvedSeries) -> tuple[int, tuple[ShortReturn, ...]]:
    spans = find_repetitions(series, DEFAULTS)
    return len(spans), short_returns(series, spans, DEFAULTS)


@pytest.mark.parametrize(
    ("corners_deg", "repetitions", "returns"),
    [
        ((0, 150, 0, 150, 0), 2, []),
        ((0, 150, 9, 150, 0), 1, [(1, 9)]),
        ((0, 150, 0, 150, 10, 150, 12, 90, 0), 2, [(2, 10), (2, 12)]),
        # Home enough to come to rest there.
        ((0, 150, 6, 150, 0), 2, []),
        # A second attempt from half-way, a pause low on the way, a twitch near home.
        ((0, 90, 45, 150, 0), 1, []),
        ((0, 15, 150, 15, 0), 1, []),
        ((0, 150, 9, 25, 0), 1, []),
    ],
)
def test_a_return_that_ends_short_of_home_is_found(
    series: Maker, corners_deg: tuple[float, ...], repetitions: int, returns: list[tuple[int, int]]
) -> None:
    count, found = found_in(series(go(*corners_deg)))

    assert count == repetitions
    assert [(one.repetition, round(one.lowest_deg)) for one in found] == returns


@given(st.lists(st.floats(0.0, 19.0), min_size=1, max_size=5))
@settings(deadline=None, max_examples=40)
def test_every_lift_is_a_repetition_or_said_to_be_part_of_one(
    series: Maker, lows_deg: list[float]
) -> None:
    corners = [0.0, 120.0]
    for low_deg in lows_deg:
        corners += [low_deg, 120.0]
    count, found = found_in(series(go(*corners, 0.0)))

    assert count + len(found) == len(lows_deg) + 1


def test_a_recording_says_which_repetition_is_two_lifts(told: Maker, bumped: Maker) -> None:
    """The arm lies on something from behind the first lift until behind the third."""
    model = SensorModel(force_rate_hz=100.0, imu_rate_hz=100.0)
    still = told("right", 3, "E01", seed=4, repetitions=5, model=model)
    plans = still.rig.truth(np.array([0.0, 1e4])).repetitions
    level, slope = (
        Rotation.from_euler("x", [angle], degrees=True).apply([0.0, 1.0, 0.0])
        for angle in (0.0, 10.0)
    )
    moves = [(plans[1].slot_start_s + 1.0, slope), (plans[3].slot_start_s + 1.0, level)]

    plain = analyse(still.recording)
    merged = analyse(bumped(still, moves).recording)

    before, behind = (
        next(one for one in trial.quality if one.key == "incomplete_return")
        for trial in (plain, merged)
    )
    assert (before.severity, before.value) == (Severity.FINE, "never")
    assert behind.severity is Severity.WARNING
    assert len(merged.repetitions) == 4
    assert behind.value.startswith("number 2 came down to ")
