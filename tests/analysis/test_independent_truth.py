"""The whole resolution against a second generator that shares no equation with ours.

The virtual rig knows its motion in closed form. Here nothing is in closed form: orientation
is a spline through hand-written poses (scipy's RotationSpline), accelerations are second
differences of points carried by it, angular rates come from small relative rotations. Both
must agree with the analysis, so an error in one's algebra cannot hide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation, RotationSpline

from acquisition.recording.model import Recording, StreamData, TrialLabel
from acquisition.rig import RigDescription, rig_from_json
from analysis.pipeline import analyse
from analysis.target import Target
from analysis.trial import Trial
from firmware_protocol.messages import (
    FORCE_STREAM,
    IMU_STREAM,
    ChannelSpec,
    Identity,
    SampleType,
    StreamSpec,
)

Floats = NDArray[np.float64]
RATE_HZ = 500.0
STEP_S = 1e-3
GRAVITY_M_S2 = 9.80665
UP = np.array([0.0, 1.0, 0.0])
RAIL = 8_388_607

CELL_TO_H = Rotation.from_euler("zyx", [40.0, -25.0, 70.0], degrees=True)
IMU_TO_H = Rotation.from_euler("xzy", [-100.0, 35.0, 15.0], degrees=True)
IMU_M = np.array([0.02, -0.16, 0.01])
COM_M = np.array([-0.004, 0.012, 0.003])
MASS_KG = 0.32
CALIBRATION = np.array([[5.0e-5, 4e-7, -3e-7], [2e-7, 5.2e-5, 5e-7], [-6e-7, 1e-7, 4.9e-5]])
ACCEL_PER_COUNT = 4 * GRAVITY_M_S2 / 32768
GYRO_PER_COUNT = np.deg2rad(250.0) / 32768


@dataclass(frozen=True)
class Story:
    """What really happened, as a right shoulder sees it."""

    time_s: Floats
    humerus: Rotation
    force_base_n: Floats


def eased(time_s: Floats, start_s: float, stop_s: float) -> Floats:
    """From 0 to 1 between two moments, with a cosine: not our minimum jerk."""
    phase = np.clip((time_s - start_s) / (stop_s - start_s), 0.0, 1.0)
    return 0.5 - 0.5 * np.cos(np.pi * phase)


def pose(elevation_deg: float, plane_deg: float) -> Rotation:
    """Hold the arm up in a plane: the shortest turn that takes the hanging arm there."""
    plane = np.deg2rad(plane_deg)
    sideways = np.array([np.sin(plane), 0.0, np.cos(plane)])
    axis = np.cross([0.0, -1.0, 0.0], sideways)
    return Rotation.from_rotvec(axis * np.deg2rad(elevation_deg))


def motion(plane_deg: float) -> RotationSpline:
    """Spline through poses written by hand: rest, up to 150°, a pause, down, rest; twice."""
    keys: list[tuple[float, float]] = [(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (3.0, 0.0), (4.0, 0.0)]
    for lift_s in (5.0, 25.0):
        keys += [(lift_s, 0.0), (lift_s + 0.5, 0.4), (lift_s + 1.5, 12.0), (lift_s + 3.0, 48.0)]
        keys += [(lift_s + 5.0, 105.0), (lift_s + 6.5, 142.0), (lift_s + 7.5, 150.0)]
        keys += [(lift_s + 8.5, 149.0), (lift_s + 10.0, 118.0), (lift_s + 12.0, 62.0)]
        keys += [(lift_s + 13.5, 20.0), (lift_s + 14.5, 2.0), (lift_s + 15.0, 0.0)]
        keys += [(lift_s + rest, 0.0) for rest in (16.0, 17.0, 18.0, 19.0)]
    times = np.array([time for time, _ in keys])
    poses = Rotation.concatenate([pose(elevation, plane_deg) for _, elevation in keys])
    return RotationSpline(times, poses)


def push(time_s: Floats) -> Floats:
    """Write the force in the base frame by hand: it turns upward and outward on the way."""
    held = eased(time_s, 3.2, 4.4) - eased(time_s, 20.8, 21.6)
    held += eased(time_s, 23.0, 24.2) - eased(time_s, 40.8, 41.6)
    azimuth = np.deg2rad(26.0 + 6.0 * np.sin(0.35 * time_s))
    superior = np.deg2rad(-4.0 + 7.0 * np.sin(0.21 * time_s))
    size = held * (40.0 + 3.0 * np.sin(0.9 * time_s))
    direction = np.stack(
        [-np.cos(superior) * np.cos(azimuth), np.sin(superior), np.cos(superior) * np.sin(azimuth)],
        axis=1,
    )
    return np.asarray(size[:, np.newaxis] * direction)


def tell(plane_deg: float, end_s: float = 43.5) -> tuple[Story, Floats, Floats, Floats]:
    """Return the story, and at the same times: f at IMU, f at the shell, rate; all in H."""
    spline = motion(plane_deg)
    time_s = np.arange(0.01, end_s, 1.0 / RATE_HZ)
    now, before, after = spline(time_s), spline(time_s - STEP_S), spline(time_s + STEP_S)

    def specific_force(point_m: Floats) -> Floats:
        acceleration = (
            after.apply(point_m) - 2 * now.apply(point_m) + before.apply(point_m)
        ) / STEP_S**2
        return np.asarray(now.inv().apply(acceleration + GRAVITY_M_S2 * UP))

    rate = (before.inv() * after).as_rotvec() / (2 * STEP_S)
    story = Story(time_s, now, push(time_s))
    return story, specific_force(IMU_M), specific_force(COM_M), np.asarray(rate)


def as_built(vectors: Floats, side: str, *, axial: bool = False) -> Floats:
    """Turn right-shoulder vectors into those of the rig as it stands on the bench."""
    if side == "right":
        return vectors
    mirror = np.diag([1.0, 1.0, -1.0])
    return vectors @ (np.linalg.det(mirror) * mirror if axial else mirror).T


def description(side: str) -> RigDescription:
    import json

    return rig_from_json(
        json.dumps(
            {
                "rig": {"id": "R77", "side": side},
                "cell": {
                    "axes": 3,
                    "to_humerus": CELL_TO_H.as_matrix().tolist(),
                    "calibration_matrix": CALIBRATION.tolist(),
                },
                "imu": {
                    "to_humerus": IMU_TO_H.as_matrix().tolist(),
                    "lever_m": as_built(IMU_M, side).tolist(),
                    "scales": {"accel_m_s2": ACCEL_PER_COUNT, "gyro_rad_s": GYRO_PER_COUNT},
                },
                "shell": {"mass_kg": MASS_KG, "com_m": as_built(COM_M, side).tolist()},
                "head": {"centre_m": [0.0, 0.0, 0.0], "radius_m": 0.025},
            }
        ),
        where="test",
    )


def stream(stream_id: int, name: str, counts: Floats, time_s: Floats, rail: int) -> StreamData:
    size = counts.shape[1]
    channels = tuple(ChannelSpec(f"c{i}", "count", 1.0, -rail - 1, rail) for i in range(size))
    spec = StreamSpec(stream_id, name, SampleType.INT32, RATE_HZ, channels)
    number = np.arange(len(counts), dtype=np.int64)
    return StreamData(
        spec=spec,
        sample_number=number,
        device_time_us=np.round(time_s * 1e6).astype(np.int64) + 77_000_000,
        counts=np.round(counts).astype(np.int32),
        segment=np.zeros(len(counts), dtype=np.int64),
        arrival_ns=np.round(time_s * 1e9).astype(np.int64),
    )


def record(plane_deg: float, side: str, seed: int) -> tuple[Story, Recording]:
    story, f_imu, f_com, rate = tell(plane_deg)
    rng = np.random.default_rng(seed)
    in_h = np.asarray(story.humerus.inv().apply(story.force_base_n)) - MASS_KG * f_com
    in_cell = np.asarray(CELL_TO_H.inv().apply(as_built(in_h, side)))
    offset_n = np.array([1.5, -2.2, 0.7])
    noisy_n = in_cell + offset_n + rng.normal(0.0, 0.1, in_cell.shape)
    accel = np.asarray(IMU_TO_H.inv().apply(as_built(f_imu, side)))
    gyro = np.asarray(IMU_TO_H.inv().apply(as_built(rate, side, axial=True)))
    accel = accel + rng.normal(0.0, 0.03, accel.shape)
    gyro = gyro + np.deg2rad([0.4, -0.6, 0.3]) + rng.normal(0.0, np.deg2rad(0.1), gyro.shape)
    inertial = np.hstack([accel / ACCEL_PER_COUNT, gyro / GYRO_PER_COUNT])
    force = stream(1, FORCE_STREAM, noisy_n @ np.linalg.inv(CALIBRATION).T, story.time_s, RAIL)
    imu = stream(2, IMU_STREAM, inertial, story.time_s, 32767)
    identity = Identity(1, 1, 0, "test", "R77", 1, (force.spec, imu.spec))
    recording = Recording(
        source=None,
        uuid="00000000-0000-4000-8000-000000000000",
        started_utc="2026-01-01T00:00:00Z",
        started_ns=0,
        status="complete",
        software="test",
        identity=identity,
        rig=description(side),
        target_json="",
        label=TrialLabel(),
        streams={FORCE_STREAM: force, IMU_STREAM: imu},
    )
    return story, recording


def degrees_rms(found: Floats, true: Floats) -> float:
    error = np.angle(np.exp(1j * (found - true)))
    return float(np.rad2deg(np.sqrt(np.mean(error**2))))


def errors_deg(story: Story, trial: Trial) -> dict[str, float]:
    """Return RMS errors where the hand truly pushes with at least 30 N."""
    series = trial.series
    at = np.clip(np.searchsorted(series.time_s, story.time_s - story.time_s[0]), 0, len(series) - 1)
    firm = np.linalg.norm(story.force_base_n, axis=1) > 30.0
    assert series.directed[at][firm].mean() > 0.99
    use = firm & series.directed[at]
    fx, fy, fz = story.force_base_n[use].T
    shaft = np.asarray(story.humerus.apply(-UP))[use]
    elevation = np.arctan2(np.hypot(shaft[:, 0], shaft[:, 2]), -shaft[:, 1])
    return {
        "azimuth": degrees_rms(series.azimuth_rad[at][use], np.arctan2(fz, -fx)),
        "superior": degrees_rms(
            series.superior_angle_rad[at][use], np.arctan2(fy, np.hypot(fx, fz))
        ),
        "elevation": degrees_rms(series.elevation_rad[at][use], elevation),
    }


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("plane_deg", [0.0, 30.0, 90.0])
def test_directions_and_elevation_are_true_within_half_a_degree(
    side: str, plane_deg: float
) -> None:
    story, recording = record(plane_deg, side, seed=11)

    trial = analyse(recording, Target())

    assert len(trial.repetitions) == 2
    for name, error in errors_deg(story, trial).items():
        assert error < 0.5, f"{name}: {error:.2f}° RMS"
