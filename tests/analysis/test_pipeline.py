"""The whole offline way, over real bytes, a bad line and a long session."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.record import record_trial
from acquisition.recording.model import Event, Recording, TrialLabel
from acquisition.recording.reader import content_sha256, read_recording
from acquisition.virtual_rig import SensorModel, Truth, VirtualRig, default_rig, trainee
from analysis.errors import NotAnalysable, TargetError
from analysis.pipeline import analyse
from analysis.series import ResolvedSeries
from analysis.settings import AnalysisSettings
from analysis.target import Target
from analysis.trial import Severity
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM

Maker = Callable[..., Any]
Floats = NDArray[np.float64]
SLOW = SensorModel(force_rate_hz=200.0, imu_rate_hz=100.0)


def rms_deg(error: Floats) -> float:
    wrapped = np.angle(np.exp(1j * error))
    return float(np.rad2deg(np.sqrt(np.mean(wrapped**2))))


def errors_deg(series: ResolvedSeries, truth: Truth) -> dict[str, float]:
    firm = series.directed & (truth.magnitude_n > 30.0)
    raised = firm & np.isfinite(series.plane_rad) & (truth.elevation_rad > np.deg2rad(30.0))
    raised &= truth.elevation_rad < np.deg2rad(150.0)
    return {
        "azimuth": rms_deg((series.azimuth_rad - truth.azimuth_rad)[firm]),
        "superior": rms_deg((series.superior_angle_rad - truth.superior_angle_rad)[firm]),
        "elevation": rms_deg((series.elevation_rad - truth.elevation_rad)[firm]),
        "plane": rms_deg((series.plane_rad - truth.plane_rad)[raised]),
    }


def recorded(folder: Path, options: str, side: str = "right") -> Path:
    """Record from the virtual rig through the real session, as fast as it goes."""
    path = folder / "trial.h5"
    record_trial(
        f"virtual:?speed=max&reps=1&seed=5&side={side}&{options}",
        path,
        rig=default_rig(side),
        target_json=Target(cone_deg=7.0).to_json(),
        label=TrialLabel("T07", "retention", "first"),
    )
    return path


def test_a_recording_from_bytes_is_resolved_and_names_its_origin(tmp_path: Path) -> None:
    path = recorded(tmp_path, "trainee=E01")

    trial = analyse(read_recording(path))

    assert trial.recording["file"] == "trial.h5"
    assert trial.recording["sha256"] == content_sha256(path)
    assert trial.recording["person"] == "T07"
    assert trial.recording["condition"] == "retention"
    assert trial.recording["status"] == "complete"
    assert trial.recording["rates_hz"] == {"force": 1000.0, "imu": 500.65}
    assert trial.target.cone_deg == 7.0
    assert len(trial.repetitions) == 1
    json.dumps(trial.to_dict(), allow_nan=False)


def test_the_same_recording_gives_the_same_numbers(tmp_path: Path) -> None:
    path = recorded(tmp_path, "trainee=T08")

    first, second = (analyse(read_recording(path)) for _ in range(2))

    assert first.to_dict() == second.to_dict()
    np.testing.assert_array_equal(first.series.force_n, second.series.force_n)


def test_a_line_that_loses_frames_leaves_gaps_and_true_directions(tmp_path: Path) -> None:
    """One frame in fifty is lost: 10 ms of one stream each."""
    path = recorded(tmp_path, "trainee=E01&faults=loss:0.02")
    rig = VirtualRig(default_rig(), trainee("E01"), seed=5, repetitions=1)

    recording = read_recording(path)
    trial = analyse(recording)

    quality = {finding.key: finding for finding in trial.quality}
    assert quality["lost_samples_force"].severity is not Severity.FINE
    offset_s = recording.streams[IMU_STREAM].device_time_us[0] * 1e-6
    begun_s = recording.streams[FORCE_STREAM].device_time_us[0] * 1e-6
    lead = int(recording.streams[FORCE_STREAM].sample_number[0]) / 1000.0
    truth = rig.truth(trial.series.time_s + max(offset_s - begun_s, 0.0) + lead)
    for name, error in errors_deg(trial.series, truth).items():
        assert error < 0.5, f"{name}: {error:.2f}° RMS"
    assert np.isnan(trial.series.force_n[trial.series.missing]).all()


def test_a_rig_that_restarted_in_the_middle_is_resolved_on_both_sides(tmp_path: Path) -> None:
    path = recorded(tmp_path, "trainee=E01&faults=restart:12")

    trial = analyse(read_recording(path))

    series = trial.series
    assert (np.diff(series.time_s) > 0.0).all()
    assert {finding.key: finding for finding in trial.quality}["segments"].severity is (
        Severity.WARNING
    )
    assert series.directed[series.time_s < 11.5].any()
    assert series.directed[series.time_s > 13.0].any()
    assert [repetition.spans.complete for repetition in trial.repetitions][-1]


def wandering_gyro(recording: Recording) -> Recording:
    """Let the gyro's bias wander as it warms up: 0.3 °/s in all, and 0.03 °/s over minutes."""
    stream = recording.streams[IMU_STREAM]
    time_s = (stream.device_time_us - stream.device_time_us[0]) * 1e-6
    bias_deg_s = 0.3 * (1.0 - np.exp(-time_s / 600.0)) + 0.03 * np.sin(time_s / 70.0)
    wander = np.outer(np.deg2rad(bias_deg_s), [1.0, -0.8, 0.6])
    counts = stream.counts.copy()
    counts[:, 3:] += np.round(wander / recording.rig.imu.scales.gyro_rad_s).astype(np.int32)
    changed = dataclasses.replace(stream, counts=counts)
    return dataclasses.replace(recording, streams={**recording.streams, IMU_STREAM: changed})


def test_half_an_hour_with_a_warming_gyro_stays_within_half_a_degree(told: Maker) -> None:
    made = told("left", seed=9, repetitions=60, model=SLOW)
    assert made.rig.duration_s > 1800.0

    trial = analyse(wandering_gyro(made.recording))

    start = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
    assert len(trial.repetitions) == 60
    late = trial.series.time_s > 1500.0
    truth = made.rig.truth(trial.series.time_s + start)
    for name, error in errors_deg(trial.series, truth).items():
        assert error < 0.5, f"{name}: {error:.2f}° RMS"
    assert trial.series.directed[late].any()


def test_a_zero_event_is_used_and_named(told: Maker) -> None:
    recording = told(seed=2, repetitions=1, model=SLOW).recording
    at_us = int(recording.streams[FORCE_STREAM].device_time_us[0]) + 2_000_000
    event = Event(0, at_us, "zero", "hands off")

    trial = analyse(dataclasses.replace(recording, events=(event,)))

    zero = next(finding for finding in trial.quality if finding.key == "zero")
    assert "zero event" in zero.value
    rest = trial.series.time_s < 1.0
    assert np.abs(trial.series.force_n[rest]).max() < 0.2


def test_the_parameters_used_go_along(told: Maker) -> None:
    recording = told(seed=2, repetitions=1, model=SLOW).recording

    trial = analyse(recording, Target(cone_deg=5.0), AnalysisSettings(cutoff_hz=6.0))

    assert trial.settings["cutoff_hz"] == 6.0
    assert trial.settings["repetitions"]["minimum_amplitude_deg"] == 30.0
    assert trial.target.cone_deg == 5.0


def test_a_hand_that_never_leaves_is_told_in_one_sentence(told: Maker) -> None:
    recording = told(seed=2, repetitions=1, model=SLOW).recording
    stream = recording.streams[FORCE_STREAM]
    shake = np.random.default_rng(0).normal(0.0, 60_000.0, stream.counts.shape)
    pressed = dataclasses.replace(stream, counts=stream.counts + shake.astype(np.int32))
    streams = {**recording.streams, FORCE_STREAM: pressed}

    with pytest.raises(NotAnalysable, match="hands off"):
        analyse(dataclasses.replace(recording, streams=streams))


def test_a_target_that_makes_no_sense_is_told_in_one_sentence(told: Maker) -> None:
    recording = told(seed=2, repetitions=1, model=SLOW).recording

    with pytest.raises(TargetError, match="cone_deg"):
        analyse(dataclasses.replace(recording, target_json='{"cone_deg": -1}'))


def test_a_series_cannot_be_changed(told: Maker) -> None:
    series = analyse(told(seed=2, repetitions=1, model=SLOW).recording).series

    with pytest.raises(ValueError, match="read-only"):
        series.force_n[0] = 0.0
    with pytest.raises(ValueError, match="read-only"):
        series.magnitude_n[0] = 0.0
