"""The moving target on whole recordings: against the virtual rig's truth, live and offline."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.criteria import judge
from analysis.live_chain import LiveChain
from analysis.measures import measure_repetitions
from analysis.pipeline import analyse
from analysis.profile import profile_of
from analysis.repetitions import find_repetitions
from analysis.resolve import push_angles
from analysis.scapula import ScapularRhythm
from analysis.series import ResolvedSeries, joined
from analysis.target import Aim, Target
from analysis.trial import PhaseName
from analysis.vectors import angle_between

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
LIMIT_DEG = 0.5
MOVING = Target(scapula=ScapularRhythm(external_rotation_per_upward=0.2))


def true_target(truth: Any) -> Floats:
    """Return where the target points by the true arm, composed of rotations, (n, 3).

    The rhythm goes over from that of raising to that of lowering in the first 30° that the arm
    comes down; the invented arm goes up once and down once in each repetition.
    """
    elevation = np.rad2deg(truth.elevation_rad)
    share = np.zeros(len(elevation))
    for plan in truth.repetitions:
        down = (truth.time_s >= plan.lower_start_s) & (truth.time_s < plan.slot_end_s)
        share[down] = np.clip((np.rad2deg(plan.top_rad) - elevation[down]) / 30.0, 0.0, 1.0)
        # The next raise begins with the rhythm of lowering and loses it in 30°.
        up = (truth.time_s >= plan.slot_start_s) & (truth.time_s < plan.lower_start_s)
        share[up] = np.clip(1.0 - elevation[up] / 30.0, 0.0, 1.0) * (plan.number > 1)
    upward = elevation * ((1.0 - share) / 3.3 + share / 3.7)
    turned = Rotation.from_euler(
        "YXZ", np.stack([30.0 - 0.2 * upward, -upward, 0.6 * upward], axis=1), degrees=True
    )
    return np.asarray(
        (turned * Rotation.from_euler("Y", -30.0, degrees=True)).apply(MOVING.direction)
    )


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_angle_to_it_is_true_within_half_a_degree(told: Maker, side: str) -> None:
    made = told(side=side, plane_deg=30.0, seed=7, repetitions=2)

    series = analyse(made.recording, MOVING).series

    start = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
    truth = made.rig.truth(series.time_s + start)
    use = (truth.magnitude_n > 30.0) & series.directed
    expected = angle_between(truth.force_n, true_target(truth))
    error_deg = np.rad2deg(series.off_axis_rad - expected)[use]
    assert use.sum() > 0.99 * (truth.magnitude_n > 30.0).sum()
    assert np.sqrt(np.mean(error_deg**2)) < LIMIT_DEG
    assert np.rad2deg(np.ptp(expected[use])) > 20.0  # so that the test above can see it


def live_rows(recording: Any, target: Target) -> ResolvedSeries:
    chain = LiveChain(recording.rig, recording.identity, target)
    found = []
    for begin in range(0, 200_000, 997):
        for name, stream in recording.streams.items():
            here = slice(
                begin // (1 if name == "force" else 2),
                (begin + 997) // (1 if name == "force" else 2),
            )
            chain.feed(name, stream.device_time_us[here], stream.counts[here])
        rows = chain.take()
        found += [rows] if rows is not None else []
    whole = joined(found)
    assert whole is not None
    return whole


def test_live_it_is_where_it_is_offline(told: Maker) -> None:
    recording = told(plane_deg=30.0, seed=7, repetitions=2).recording
    offline, live = analyse(recording, MOVING).series, live_rows(recording, MOVING)

    both = np.intersect1d(np.round(offline.time_s, 3), np.round(live.time_s, 3))
    rows = [np.searchsorted(np.round(one.time_s, 3), both) for one in (offline, live)]
    use = offline.directed[rows[0]] & live.directed[rows[1]]
    assert use.sum() > 10_000
    apart = np.rad2deg(offline.off_axis_rad[rows[0]] - live.off_axis_rad[rows[1]])[use]
    assert np.sqrt(np.mean(apart**2)) < 0.2


@pytest.fixture(scope="module")
def following(lift: Callable[..., Floats]) -> ResolvedSeries:
    """A hand that follows the moving target all the way, 40 N."""
    elevation_deg = lift()
    toward = Aim(MOVING)(np.deg2rad(elevation_deg))
    assert toward is not None
    return aimed(elevation_deg, 40.0 * toward, toward)


def aimed(elevation_deg: Floats, push: Floats, toward: Floats) -> ResolvedSeries:
    count, fs_hz = len(elevation_deg), 200.0
    angles = push_angles(push, toward)
    one, nothing = np.full(count, np.deg2rad(0.7)), np.zeros(count, dtype=np.bool_)
    return ResolvedSeries(
        fs_hz=fs_hz,
        time_s=np.arange(count) / fs_hz,
        force_n=push,
        glide_n=angles.glide_n,
        azimuth_rad=angles.azimuth_rad,
        superior_angle_rad=angles.superior_angle_rad,
        off_axis_rad=angles.off_axis_rad,
        azimuth_u_rad=one,
        superior_angle_u_rad=one,
        off_axis_u_rad=one,
        elevation_rad=np.deg2rad(elevation_deg),
        plane_rad=one,
        elevation_speed_rad_s=np.gradient(np.deg2rad(elevation_deg)) * fs_hz,
        missing=nothing,
        saturated=nothing,
        contact=~nothing,
        directed=~nothing,
        target_direction=toward,
    )


def test_a_hand_that_follows_it_is_on_target_in_every_measure(following: ResolvedSeries) -> None:
    spans = find_repetitions(following)
    (moving,) = measure_repetitions(following, spans, MOVING, side="right")

    values = moving.phases[PhaseName.MOVEMENT].values
    for key in ("off_axis_mean_deg", "off_axis_rms_deg", "azimuth_error_mean_deg"):
        assert values[key] == pytest.approx(0.0, abs=1e-6)
    assert values["on_target_percent"] == 100.0
    assert values["glide_mean_N"] == pytest.approx(40.0)
    profile = profile_of(following, spans[0], MOVING)
    for way in (profile.raising, profile.lowering):
        assert np.nanmax(way.off_axis_deg) < 1e-4
    # The superior angle stays what it is: upward or downward in the base.
    assert isinstance(values["superior_angle_mean_deg"], float)
    assert values["superior_angle_mean_deg"] < -15.0


def test_a_hand_that_stays_is_told_to_push_lower(lift: Callable[..., Floats]) -> None:
    """Right on the target that stands still it lies above the one that tilts down."""
    elevation_deg = lift()
    toward = Aim(MOVING)(np.deg2rad(elevation_deg))
    assert toward is not None
    series = aimed(elevation_deg, np.tile(40.0 * MOVING.direction, (len(toward), 1)), toward)
    (found,) = measure_repetitions(series, find_repetitions(series), MOVING, side="right")

    direction = next(one for one in judge(found, series, MOVING) if one.key == "direction")

    assert direction.verdict.value == "not met"
    assert direction.advice.startswith("Push lower")
