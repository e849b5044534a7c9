"""A rig bumped while it is watched: said at once, levelled at the second stay, true again."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from acquisition.virtual_rig import SensorModel
from analysis.bumps import Rests, find_bumps
from analysis.live_chain import LiveChain, LiveStatus
from analysis.live_measures import LiveMeasures, MeasuredRepetition
from analysis.live_rests import RestFollower
from analysis.series import ResolvedSeries, joined
from analysis.settings import AnalysisSettings
from analysis.target import Target
from analysis.trial import PhaseName
from analysis.vectors import angle_between

Maker = Callable[..., Any]
Floats = NDArray[np.float64]

MODEL = SensorModel(force_rate_hz=100.0, imu_rate_hz=100.0)
UP = np.array([0.0, 1.0, 0.0])
LIMIT_DEG = 0.5


def leaning(x_deg: float, z_deg: float = 0.0) -> Floats:
    return np.asarray(Rotation.from_rotvec(np.deg2rad([x_deg, 0.0, z_deg])).apply(UP))


@dataclass(frozen=True)
class Watched:
    """What a chain told of a recording: all rows, the status behind each block, and measures."""

    series: ResolvedSeries
    statuses: list[tuple[float, LiveStatus]]
    withheld: list[int]
    start_s: float

    def status(self, at_s: float) -> LiveStatus:
        """Return the status at a time of the rig's clock."""
        return [status for time_s, status in self.statuses if time_s <= at_s][-1]


def watch(made: Any, cuts_s: Iterable[float]) -> Watched:
    recording = made.recording
    chain = LiveChain(recording.rig, recording.identity, Target())
    measures = LiveMeasures(Target(), fs_hz=chain.fs_hz, side="right")
    first_us = min(int(one.device_time_us[0]) for one in recording.streams.values())
    begin_s, blocks, statuses = -1.0, [], []
    done: list[MeasuredRepetition] = []
    for end_s in cuts_s:
        for name, one in recording.streams.items():
            since_s = (one.device_time_us - first_us) * 1e-6
            use = (since_s >= begin_s) & (since_s < end_s)
            chain.feed(name, one.device_time_us[use], one.counts[use])
        begin_s = end_s
        block = chain.take()
        if block is not None:
            blocks.append(block)
            done += measures.feed(block)
        statuses.append((end_s, chain.status))
    whole = joined(blocks)
    assert whole is not None
    withheld = [
        one.repetition.number
        for one in (*done, *measures.finish())
        if "moved" in one.repetition.phases[PhaseName.MOVEMENT].reasons.get("glide_mean_N", "")
    ]
    start_s = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
    return Watched(whole, statuses, withheld, start_s)


def evenly(made: Any) -> Floats:
    return np.arange(0.5, made.rig.duration_s + 0.6, 0.5)


def five(told: Maker) -> Any:
    return told("right", 3, "E01", seed=4, repetitions=5, model=MODEL)


def error_deg(made: Any, seen: Watched) -> Floats:
    truth = made.rig.truth(seen.series.time_s + seen.start_s)
    return np.asarray(np.rad2deg(seen.series.elevation_rad - truth.elevation_rad))


def rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))


@pytest.mark.parametrize("lean_deg", [4.5, 6.0, 12.0])
def test_a_bump_is_said_at_once_and_levelled_at_the_second_stay_behind_it(
    told: Maker, bumped: Maker, lean_deg: float
) -> None:
    """Bumped while the second repetition is on its way up."""
    still = five(told)
    plans = still.rig.truth(np.array([0.0, 1e4])).repetitions
    made = bumped(still, [(plans[1].raise_start_s + 3.0, leaning(lean_deg))])

    seen = watch(made, evenly(made))

    before = seen.status(plans[1].raise_start_s)
    assert before.leaned_rad == 0.0
    first = seen.status(plans[1].slot_end_s + 2.0)
    assert np.rad2deg(first.leaned_rad) == pytest.approx(lean_deg, abs=0.7)
    assert first.levelled == 0
    second = seen.status(plans[2].slot_end_s + 2.0)
    assert second.leaned_rad == 0.0
    assert second.levelled == 1
    time_s = seen.series.time_s
    late = time_s > plans[3].raise_start_s
    assert rms(error_deg(made, seen)[late]) < LIMIT_DEG
    assert np.isfinite(seen.series.plane_rad[late]).mean() > 0.5


def test_nothing_that_a_bump_may_have_spoilt_is_measured_live(told: Maker, bumped: Maker) -> None:
    """In the second repetition it happened, in the third it was not yet levelled."""
    still = five(told)
    plans = still.rig.truth(np.array([0.0, 1e4])).repetitions
    made = bumped(still, [(plans[1].raise_start_s + 3.0, leaning(6.0))])

    seen = watch(made, evenly(made))

    assert seen.withheld == [2, 3]
    third = (seen.series.time_s > plans[2].raise_start_s) & (seen.series.time_s < plans[2].home_s)
    assert not seen.series.directed[third].any()
    fourth = (seen.series.time_s > plans[3].raise_start_s) & (seen.series.time_s < plans[3].home_s)
    assert seen.series.directed[fourth].mean() > 0.95


def test_an_undisturbed_rig_is_never_said_to_lean(told: Maker) -> None:
    made = five(told)

    seen = watch(made, evenly(made))

    assert {(one.leaned_rad, one.levelled) for _, one in seen.statuses} == {(0.0, 0)}
    assert seen.series.unsettled is not None
    assert not seen.series.unsettled.any()
    assert seen.withheld == []


def test_a_rig_put_right_again_is_levelled_back(told: Maker, bumped: Maker) -> None:
    still = told("right", 3, "E01", seed=4, repetitions=7, model=MODEL)
    plans = still.rig.truth(np.array([0.0, 1e4])).repetitions
    away = [(plans[1].raise_start_s + 3.0, leaning(6.0)), (plans[4].raise_start_s + 3.0, UP)]
    made = bumped(still, away)

    seen = watch(made, evenly(made))

    assert seen.status(plans[4].raise_start_s).levelled == 1
    assert seen.statuses[-1][1].levelled == 2
    late = seen.series.time_s > plans[6].raise_start_s
    assert rms(error_deg(made, seen)[late]) < LIMIT_DEG


@given(st.lists(st.floats(0.2, 4.0), min_size=3, max_size=12))
@settings(deadline=None, max_examples=5)
def test_cutting_the_streams_anywhere_changes_nothing(
    told: Maker, bumped: Maker, steps_s: list[float]
) -> None:
    still = told("right", 3, "E01", seed=4, repetitions=4, model=MODEL)
    plans = still.rig.truth(np.array([0.0, 1e4])).repetitions
    made = bumped(still, [(plans[0].raise_start_s + 3.0, leaning(6.0))])
    whole = watch(made, evenly(made))
    end_s = evenly(made)[-1]
    cuts = np.cumsum(np.resize(steps_s, int(end_s / 0.2)))

    one = watch(made, [*cuts[cuts < end_s].tolist(), end_s])

    assert one.statuses[-1][1] == whole.statuses[-1][1]
    assert one.statuses[-1][1].levelled == 1
    assert one.withheld == whole.withheld == [1, 2]
    for name in ("elevation_rad", "azimuth_rad", "plane_rad", "unsettled", "directed"):
        first, second = getattr(one.series, name), getattr(whole.series, name)
        assert first == pytest.approx(second, abs=1e-9, nan_ok=True)


# --- the rule, beside the one that looks back ----------------------------------------------

FS_HZ = 100.0
AWAY = leaning(70.0, -40.0)


def followed(stays: list[tuple[float, float, bool]]) -> tuple[RestFollower, list[Floats]]:
    """Return a follower that saw stays of two seconds, and which verticals it let hold."""
    follower = RestFollower(UP, np.deg2rad(5.0), AnalysisSettings(), fs_hz=FS_HZ)
    anew: list[Floats] = []
    for x_deg, z_deg, off in stays:
        for vertical, still in ((leaning(x_deg, z_deg), True), (AWAY, False)):
            rows = np.tile(vertical, (200, 1))
            flags = np.ones(200, dtype=np.bool_)
            said = follower.feed(rows, flags, flags & still, flags & off)
            anew += [up for _, up in said.anew]
    return follower, anew


def looked_back_on(stays: list[tuple[float, float, bool]]) -> list[Floats]:
    count = len(stays)
    starts = 400 * np.arange(count)
    rests = Rests(
        starts=starts,
        stops=starts + 200,
        verticals=np.array([leaning(x, z) for x, z, _ in stays]),
        arrived=np.arange(count) > 0,
        hand_off=np.array([off for *_, off in stays]),
    )
    return [bump.up_in_base for bump in find_bumps(rests, UP, 400 * count).bumps]


@given(
    st.lists(st.floats(3.5, 19.5), min_size=1, max_size=3),
    st.lists(st.integers(2, 4), min_size=3, max_size=3),
    st.lists(st.tuples(*[st.floats(-0.15, 0.15)] * 2), min_size=16, max_size=16),
)
@settings(deadline=None, max_examples=50)
def test_for_bumps_that_last_it_is_the_rule_that_looks_back(
    sizes: list[float], many: list[int], wobbles: list[tuple[float, float]]
) -> None:
    """Poses that differ from each other, two stays or more in each."""
    poses = [(0.0, 0.0)]
    for number, size in enumerate(sizes):
        angle = 2.1 * number
        poses.append((size * np.cos(angle), size * np.sin(angle)))
    stays = [pose for pose, times in zip(poses, [2, *many], strict=False) for _ in range(times)]
    told = [
        (pose[0] + wobble[0], pose[1] + wobble[1], True)
        for pose, wobble in zip(stays, wobbles, strict=False)
    ]

    follower, anew = followed(told)
    behind = looked_back_on(told)

    assert follower.levelled == len(anew) == len(behind) == len(sizes)
    for live, offline in zip(anew, behind, strict=True):
        assert angle_between(live, offline) < np.deg2rad(0.5)


@pytest.mark.parametrize(
    ("leans_deg", "levelled", "leaned_deg"),
    [
        ([0, 0, 6, 0, 0], 0, 0.0),
        ([0, 0, 6], 0, 6.0),
        ([0, 0, 6, 9, 4], 0, 4.0),
        ([0, 0, 2], 0, 0.0),
        ([0, 0, 6, 6], 1, 0.0),
        ([0, 0, 6, 6, 0, 0], 2, 0.0),
        ([4, 0, 0, 0], 0, 0.0),
        ([0, 0, 30, 30], 0, 0.0),
    ],
)
def test_what_is_said_and_when_it_is_levelled(
    leans_deg: list[float], levelled: int, leaned_deg: float
) -> None:
    follower, _ = followed([(lean, 0.0, True) for lean in leans_deg])

    assert follower.levelled == levelled
    assert np.rad2deg(follower.leaned_rad) == pytest.approx(leaned_deg, abs=1e-6)


def test_a_hand_on_the_arm_shows_no_bump_live_either() -> None:
    follower, anew = followed([(0.0, 0.0, True)] * 2 + [(6.0, 0.0, False)] * 4)

    assert (follower.levelled, follower.leaned_rad, anew) == (0, 0.0, [])
