"""Half an hour with a realistic gyroscope: bias, bias that drifts, noise.

The virtual rig's gyroscope has a bias of up to 0.8 °/s and white noise; here its bias also drifts
as an ordinary MEMS unit's does while it warms up (common practice: tenths of a degree per second
over half an hour), by 0.2 °/s and with a slow wander beside it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.recording.model import Recording
from acquisition.virtual_rig import SensorModel
from analysis.live_chain import LiveChain
from analysis.pipeline import analyse
from analysis.series import ResolvedSeries, joined
from analysis.target import Target
from firmware_protocol.messages import IMU_STREAM

Floats = NDArray[np.float64]
Maker = Callable[..., Any]

LIMIT_DEG = 0.5
REPETITIONS = 62
BLOCK_US = 2_000_000
RAISED_RAD = np.deg2rad(20.0)
"""Lower down the plane of elevation is badly defined."""
SLOW = SensorModel(force_rate_hz=100.0, imu_rate_hz=100.0)


def drifting(recording: Recording) -> Recording:
    """Return it with a bias of the gyroscope that grows with each axis in its own way."""
    imu = recording.streams[IMU_STREAM]
    time_s = (imu.device_time_us - imu.device_time_us[0]) * 1e-6
    warming = 1.0 - np.exp(-time_s / 600.0)
    wander = np.sin(2.0 * np.pi * time_s[:, np.newaxis] / np.array([240.0, 410.0, 170.0]))
    bias_deg_s = warming[:, np.newaxis] * np.array([0.2, -0.15, 0.2]) + 0.02 * wander
    counts = imu.counts.copy()
    counts[:, 3:] += np.rint(np.deg2rad(bias_deg_s) / imu.spec.channels[3].scale).astype(np.int32)
    streams = {**recording.streams, IMU_STREAM: dataclasses.replace(imu, counts=counts)}
    return dataclasses.replace(recording, streams=streams)


def rms_deg(error: Floats) -> float:
    known = error[np.isfinite(error)]
    return float(np.rad2deg(np.sqrt(np.mean(np.angle(np.exp(1j * known)) ** 2))))


def live(recording: Recording) -> ResolvedSeries:
    """Return what the causal chain makes of it, two seconds at a time."""
    chain = LiveChain(recording.rig, recording.identity, Target())
    first_us = min(int(one.device_time_us[0]) for one in recording.streams.values())
    last_us = max(int(one.device_time_us[-1]) for one in recording.streams.values())
    rows = dict.fromkeys(recording.streams, 0)
    blocks = []
    for until_us in range(first_us, last_us + BLOCK_US, BLOCK_US):
        for name, one in recording.streams.items():
            stop = int(np.searchsorted(one.device_time_us, until_us))
            part = slice(rows[name], stop)
            chain.feed(name, one.device_time_us[part], one.counts[part])
            rows[name] = stop
        block = chain.take()
        if block is not None:
            blocks.append(block)
    whole = joined(blocks)
    assert whole is not None
    return whole


def test_live_half_an_hour_keeps_elevation_and_plane_within_half_a_degree(told: Maker) -> None:
    """The causal filter with the gyroscope that drifts, from its first zero on."""
    made = told("right", 3, "E01", seed=3, repetitions=REPETITIONS, plane_deg=40.0, model=SLOW)

    series = live(drifting(made.recording))

    start_s = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
    truth = made.rig.truth(series.time_s + start_s)
    raised = truth.elevation_rad > RAISED_RAD
    assert series.time_s[-1] > 1800.0
    assert rms_deg(series.elevation_rad - truth.elevation_rad) < LIMIT_DEG
    assert rms_deg((series.plane_rad - truth.plane_rad)[raised]) < LIMIT_DEG
    assert np.isfinite(series.plane_rad[raised]).mean() > 0.99


@pytest.mark.parametrize("drifts", [False, True])
def test_half_an_hour_keeps_elevation_and_plane_within_half_a_degree(
    told: Maker, drifts: bool
) -> None:
    made = told("right", 3, "E01", seed=3, repetitions=REPETITIONS, plane_deg=40.0, model=SLOW)
    assert made.rig.duration_s > 1800.0

    trial = analyse(drifting(made.recording) if drifts else made.recording)

    series = trial.series
    start_s = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
    truth = made.rig.truth(series.time_s + start_s)
    raised = truth.elevation_rad > RAISED_RAD
    assert len(trial.repetitions) == REPETITIONS
    assert rms_deg(series.elevation_rad - truth.elevation_rad) < LIMIT_DEG
    assert rms_deg((series.plane_rad - truth.plane_rad)[raised]) < LIMIT_DEG
    assert np.isfinite(series.plane_rad[raised]).mean() > 0.99
