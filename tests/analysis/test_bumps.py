"""A rig bumped in mid-session: found, reckoned with, and said."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import msgspec
import numpy as np
import pytest

from acquisition.recording.model import Recording
from acquisition.virtual_rig import SensorModel, VirtualRig, trainee
from analysis.bumps import find_bumps
from analysis.pipeline import analyse
from analysis.trial import Severity
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM

Maker = Callable[..., Any]

MODEL = SensorModel(force_rate_hz=100.0, imu_rate_hz=100.0)
LEAN_DEG = 3.0
BUMP_S = 0.2
UP = np.array([0.0, 1.0, 0.0])


def leaning(degrees: float) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array([0.0, np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))])


def bumped(told: Maker) -> tuple[Recording, VirtualRig, float]:
    """Five repetitions; from the rest before the third on the base leans by 3° about X."""
    made = told("right", 3, "E01", seed=4, repetitions=5, model=MODEL)
    plans = made.rig.truth(np.array([0.0, 1e4])).repetitions
    at_s = plans[2].slot_start_s + 1.0
    home = msgspec.structs.replace(made.rig.rig.home, vertical_in_base=tuple(leaning(LEAN_DEG)))
    leant = msgspec.structs.replace(made.rig.rig, home=home)
    other = VirtualRig(leant, trainee("E01"), seed=4, repetitions=5, model=MODEL)
    streams = {}
    for stream in other.streams:
        name = stream.spec.name
        before = made.recording.streams[name]
        time_s = stream.time_s(0, len(before.counts))
        counts = np.where(
            (time_s >= at_s)[:, np.newaxis], stream.counts(0, len(time_s)), before.counts
        ).astype(np.int32)
        if name == IMU_STREAM:
            # The vertical goes from Y toward Z in H while the base turns the other way, about −X.
            rate = np.array([-np.deg2rad(LEAN_DEG) / BUMP_S, 0.0, 0.0])
            felt = np.array(made.rig.rig.imu.to_humerus).T @ rate / stream.spec.channels[3].scale
            during = (time_s >= at_s) & (time_s < at_s + BUMP_S)
            counts[during, 3:] += np.rint(felt).astype(np.int32)
        streams[name] = dataclasses.replace(before, counts=counts)
    assert set(streams) == {FORCE_STREAM, IMU_STREAM}
    return dataclasses.replace(made.recording, streams=streams), made.rig, at_s


def test_after_a_bump_the_new_rests_count_and_the_report_says_so(told: Maker) -> None:
    recording, rig, at_s = bumped(told)

    trial = analyse(recording)

    series = trial.series
    start_s = max(float(stream.time_s(0, 1)[0]) for stream in rig.streams)
    truth = rig.truth(series.time_s + start_s)
    error_deg = np.rad2deg(series.elevation_rad - truth.elevation_rad)
    late = series.time_s > at_s + 4.0
    assert len(trial.repetitions) == 5
    assert np.sqrt(np.mean(error_deg[late] ** 2)) < 0.5
    assert np.sqrt(np.mean(error_deg[series.time_s < at_s - 1.0] ** 2)) < 0.5
    finding = next(one for one in trial.quality if one.key == "rig_bumped")
    assert finding.severity is Severity.WARNING
    assert f"{LEAN_DEG:.0f}." in finding.value or "2.9" in finding.value


def test_an_undisturbed_rig_was_never_bumped(told: Maker) -> None:
    trial = analyse(told("right", 3, "E01", seed=4, repetitions=5, model=MODEL).recording)

    finding = next(one for one in trial.quality if one.key == "rig_bumped")
    assert finding.severity is Severity.FINE


@pytest.mark.parametrize(
    ("leans_deg", "at"),
    [
        ([0, 0, 3, 3, 3], [2]),
        ([0, 3, 0, 0], []),
        ([0, 0.4, 0.8, 0.4], []),
        ([0, 3, 3, -1, -1], [1, 3]),
    ],
)
def test_rests_that_agree_on_another_vertical_are_a_bump(
    leans_deg: list[float], at: list[int]
) -> None:
    """One that differs alone is the arm hanging otherwise."""
    verticals = np.array([leaning(one) for one in leans_deg])
    rests = [(100 * index, 100 * index + 50) for index in range(len(leans_deg))]

    found = find_bumps(verticals, rests, UP)

    assert [bump.at for bump in found] == [100 * index for index in at]
    for bump, index in zip(found, at, strict=True):
        assert bump.up_in_base == pytest.approx(leaning(leans_deg[index]), abs=1e-9)
