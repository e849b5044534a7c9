"""A log of another system, brought in, gives the same directions as the rig's own recording."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.bring_in import bring_in
from acquisition.clock import ManualClock
from acquisition.csv_log import columns_for
from acquisition.recording.model import Recording
from acquisition.recording.reader import read_recording
from acquisition.recording.verify import verify_recording
from acquisition.rig import RigDescription
from analysis.pipeline import analyse

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
LIMIT_DEG = 0.5
FIRM_N = 30.0


def sensor_rows(recording: Recording, rig: RigDescription, time_s: Floats) -> Floats:
    """Return time and what the sensors read in their own frames, in SI, shape (n, columns).

    Worked out here from the calibration, and not by `acquisition.physical`.
    """
    force, imu = recording.streams["force"], recording.streams["imu"]
    matrix = np.array(rig.cell.calibration_matrix)
    wrench = (force.counts - np.array(rig.cell.zero_counts)) @ matrix.T
    scales = [rig.imu.scales.accel_m_s2] * 3 + [rig.imu.scales.gyro_rad_s] * 3
    columns = [time_s]
    for stream, values in ((force, wrench), (imu, imu.counts * np.array(scales))):
        stamps = stream.device_time_us * 1e-6
        columns += [np.interp(time_s, stamps, column) for column in values.T]
    return np.column_stack(columns)


def write_csv(path: Path, rows: Floats, axes: int) -> None:
    with path.open("w", newline="") as file:
        file.write("# invented data\n")
        table = csv.writer(file)
        table.writerow(columns_for(axes))
        table.writerows([[f"{value:.7g}" for value in row] for row in rows])


def even(begin_s: float, end_s: float) -> Floats:
    return np.arange(begin_s, end_s, 0.002)


def uneven(begin_s: float, end_s: float) -> Floats:
    """About 500 Hz, each instant off by up to a fifth of the spacing, two stretches missing."""
    chance = np.random.default_rng(5)
    time_s = even(begin_s, end_s)
    time_s += chance.uniform(-0.0004, 0.0004, len(time_s))
    middle = begin_s + 0.4 * (end_s - begin_s)
    missing = (np.abs(time_s - middle) < 0.05) | (np.abs(time_s - middle - 3.0) < 0.01)
    return time_s[~missing]


def rms_deg(found: Floats, true: Floats) -> float:
    error = np.angle(np.exp(1j * (found - true)))
    return float(np.rad2deg(np.sqrt(np.mean(error**2))))


@pytest.mark.parametrize("times", [even, uneven])
@pytest.mark.parametrize(("side", "axes"), [("right", 3), ("left", 6)])
def test_directions_are_true_within_half_a_degree(
    told: Maker, tmp_path: Path, times: Callable[[float, float], Floats], side: str, axes: int
) -> None:
    made = told(side=side, axes=axes, seed=7, repetitions=1)
    stamps = made.recording.streams["force"].device_time_us * 1e-6
    time_s = times(stamps[0] + 0.01, stamps[-1] - 0.01)
    log = tmp_path / "log.csv"
    write_csv(log, sensor_rows(made.recording, made.rig.rig, time_s), axes)

    done = bring_in(log, tmp_path / "new.h5", rig=made.rig.rig, clock=ManualClock())

    assert verify_recording(done.path).faults == ()
    assert done.gaps == (2 if times is uneven else 0)
    trial = analyse(read_recording(done.path))
    truth = made.rig.truth(trial.series.time_s + time_s[0] - stamps[0])
    firm = truth.magnitude_n > FIRM_N
    use = firm & trial.series.directed
    assert use.sum() > 0.98 * firm.sum()
    series = trial.series
    assert rms_deg(series.azimuth_rad[use], truth.azimuth_rad[use]) < LIMIT_DEG
    assert rms_deg(series.superior_angle_rad[use], truth.superior_angle_rad[use]) < LIMIT_DEG
    assert rms_deg(series.elevation_rad[use], truth.elevation_rad[use]) < LIMIT_DEG
