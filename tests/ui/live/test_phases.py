"""Phases and repetitions, followed as they come."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.series import ResolvedSeries
from ui.live.phases import MovementPhase, PhaseFollower

Floats = NDArray[np.float64]
FS_HZ = 100.0


def series(elevation_deg: Floats, start_s: float = 0.0) -> ResolvedSeries:
    n = len(elevation_deg)
    unknown, no = np.full(n, np.nan), np.zeros(n, dtype=np.bool_)
    return ResolvedSeries(
        fs_hz=FS_HZ,
        time_s=start_s + np.arange(n) / FS_HZ,
        force_n=np.full((n, 3), np.nan),
        elevation_rad=np.deg2rad(elevation_deg),
        elevation_speed_rad_s=unknown,
        missing=no,
        saturated=no,
        contact=no,
        directed=no,
        glide_n=unknown,
        azimuth_rad=unknown,
        superior_angle_rad=unknown,
        off_axis_rad=unknown,
        azimuth_u_rad=unknown,
        superior_angle_u_rad=unknown,
        off_axis_u_rad=unknown,
        plane_rad=unknown,
    )


def arc(top_deg: float) -> Floats:
    return np.asarray(top_deg * np.sin(np.linspace(0.0, np.pi, 800)) ** 2)


REST = np.zeros(200)


@given(st.lists(st.integers(1, 1999), max_size=6), st.sampled_from([40.0, 90.0, 150.0]))
def test_cutting_into_blocks_changes_nothing(cuts: list[int], top_deg: float) -> None:
    whole = np.concatenate([REST, arc(top_deg), REST, arc(20.0)])
    one, other = PhaseFollower(), PhaseFollower()

    one.feed(series(whole))
    for part in np.split(np.arange(len(whole)), sorted(set(cuts))):
        other.feed(series(whole[part], part[0] / FS_HZ))

    assert (one.phase, one.repetitions) == (other.phase, other.repetitions) == (one.phase, 1)


@pytest.mark.parametrize(
    ("part", "phase"),
    [
        (slice(0, 100), MovementPhase.HOME),
        (slice(0, 450), MovementPhase.RAISE),
        (slice(0, 800), MovementPhase.LOWER),
        (slice(0, 1000), MovementPhase.HOME),
    ],
)
def test_the_phase_is_told(part: slice, phase: MovementPhase) -> None:
    follower = PhaseFollower()

    follower.feed(series(np.concatenate([REST, arc(150.0)])[part]))

    assert follower.phase is phase


def test_a_tremble_at_the_threshold_is_one_repetition() -> None:
    tremble = 2.0 * np.sin(np.arange(800) * 1.9)
    follower = PhaseFollower()

    follower.feed(series(np.concatenate([REST, np.maximum(arc(90.0) + tremble, 0.0), REST])))

    assert follower.repetitions == 1


def test_an_arm_whose_stop_holds_it_a_little_raised_comes_home() -> None:
    """The stop of a rig need not hang the arm straight down: 4° is no raise."""
    follower = PhaseFollower()

    follower.feed(series(np.maximum(np.concatenate([REST, arc(90.0), REST, REST]), 4.0)))

    assert (follower.phase, follower.repetitions) == (MovementPhase.HOME, 1)


@pytest.mark.parametrize(
    "broken",
    [
        lambda whole: [series(whole[:500]), series(REST)],
        lambda whole: [series(whole[:500]), series(REST, 60.0)],
        lambda whole: [series(np.where(np.arange(1200) % 1000 > 500, np.nan, whole))],
        lambda whole: [series(whole[500:])],
    ],
    ids=["the rig began anew", "a long gap", "a long stretch unknown", "begun in mid-air"],
)
def test_a_movement_not_seen_whole_is_not_counted(
    broken: Callable[[Floats], list[ResolvedSeries]],
) -> None:
    follower = PhaseFollower()

    for block in broken(np.concatenate([REST, arc(150.0), REST])):
        follower.feed(block)

    assert follower.repetitions == 0
    assert follower.phase is MovementPhase.HOME
