"""Faults that a recording shows of itself: the truth lies within the expanded uncertainty.

Against the virtual rig: a zero that wanders from the start to the end, a bench that does not stand
as described, and one that leans a little more in the middle, too little to be called a bump.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from acquisition.recording.model import Recording
from acquisition.virtual_rig import SensorModel
from analysis.directions import mean_direction
from analysis.pipeline import analyse
from analysis.resolve import push_angles
from analysis.row_uncertainty import pose_u
from analysis.target import Target
from analysis.trial import PhaseName, Repetition, Trial
from firmware_protocol.messages import FORCE_STREAM

Maker = Callable[..., Any]
Floats = NDArray[np.float64]
MODEL = SensorModel(force_rate_hz=100.0, imu_rate_hz=100.0)
ANGLES = ("azimuth", "superior_angle", "off_axis")
COVERAGE = 2.0
"""Of the expanded uncertainty: about 95 % (GUM 6.2.2)."""


@dataclass(frozen=True)
class Faults:
    """How bad it is.

    Attributes:
        zero_n: How far the zero wanders.
        tilt_deg: How far the bench leans from what its description says.
        shift_deg: How much further it leans in the second half.
    """

    zero_n: float = 0.0
    tilt_deg: float = 0.0
    shift_deg: float = 0.0


ALL = Faults(zero_n=1.2, tilt_deg=1.5, shift_deg=1.2)


def wandering(recording: Recording, across_n: Floats) -> Recording:
    """Return a recording whose zero goes evenly from where it was to *across_n* (3,) beyond."""
    force = recording.streams[FORCE_STREAM]
    per_newton = np.linalg.inv(np.array(recording.rig.cell.calibration_matrix)[:3, :3])
    share = np.linspace(0.0, 1.0, len(force.counts))[:, np.newaxis]
    counts = force.counts + np.rint(share * (per_newton @ across_n)).astype(np.int32)
    streams = {**recording.streams, FORCE_STREAM: replace(force, counts=counts)}
    return replace(recording, streams=streams)


def faulty(told: Maker, bumped: Maker, faults: Faults, seed: int) -> Any:
    """Return a trial at a rig with such faults, each in a direction of its own."""
    rng = np.random.default_rng(seed)
    made = told("right", 3, "E01", seed=4, repetitions=4, model=MODEL)
    half_s = made.rig.truth(np.array([0.0, 1e4])).repetitions[2].slot_start_s + 1.0
    around = rng.uniform(0.0, 2.0 * np.pi, 2)
    leans = np.deg2rad([faults.tilt_deg, faults.shift_deg])
    turns = [
        Rotation.from_rotvec(lean * np.array([np.cos(angle), 0.0, np.sin(angle)]))
        for lean, angle in zip(leans, around, strict=True)
    ]
    first = turns[0].apply([0.0, 1.0, 0.0])
    made = bumped(made, [(-1.0, first), (half_s, (turns[1] * turns[0]).apply([0.0, 1.0, 0.0]))])
    direction = rng.normal(size=3)
    across_n = faults.zero_n * direction / np.linalg.norm(direction)
    return replace(made, recording=wandering(made.recording, across_n))


def u_deg(repetition: Repetition, key: str) -> float:
    value = repetition.phases[PhaseName.MOVEMENT].values[f"{key}_u_deg"]
    assert isinstance(value, float)
    return value


def errors_in_u(made: Any, trial: Trial) -> dict[str, list[float]]:
    """Return how many standard uncertainties each mean angle lies from the truth."""
    series = trial.series
    start_s = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
    truth = made.rig.truth(series.time_s + start_s).force_n
    found: dict[str, list[float]] = {key: [] for key in ANGLES}
    for repetition in trial.repetitions:
        part = repetition.spans.movement.slice
        mean = mean_direction(truth[part][series.directed[part]])
        true = push_angles(mean[np.newaxis], Target().direction)
        values = repetition.phases[PhaseName.MOVEMENT].values
        for key in ANGLES:
            angle = np.rad2deg(getattr(true, f"{key}_rad")[0])
            mean_deg = values[f"{key}_mean_deg"]
            assert isinstance(mean_deg, float)
            found[key].append(abs(mean_deg - angle) / u_deg(repetition, key))
    return found


@pytest.mark.parametrize(
    "faults",
    [Faults(zero_n=1.2), Faults(tilt_deg=1.5), Faults(shift_deg=1.2), ALL],
    ids=["zero", "tilt", "shift", "all"],
)
def test_the_truth_lies_within_the_expanded_uncertainty(
    told: Maker, bumped: Maker, faults: Faults
) -> None:
    within: list[bool] = []
    for seed in range(6):
        made = faulty(told, bumped, faults, seed)
        trial = analyse(made.recording)
        assert len(trial.repetitions) == 4
        for times in errors_in_u(made, trial).values():
            within += [one <= COVERAGE for one in times]

    assert len(within) == 6 * 4 * len(ANGLES)
    assert np.mean(within) >= 0.93


def test_what_the_description_states_alone_would_not_hold_it(told: Maker, bumped: Maker) -> None:
    """So the test above can see it: less than it promises, were the faults not counted."""
    plain = analyse(told("right", 3, "E01", seed=4, repetitions=4, model=MODEL).recording)
    stated = plain.repetitions[0]
    within: list[bool] = []
    for seed in range(6):
        made = faulty(told, bumped, ALL, seed)
        trial = analyse(made.recording)
        for key, times in errors_in_u(made, trial).items():
            for repetition, one in zip(trial.repetitions, times, strict=True):
                within.append(one * u_deg(repetition, key) <= COVERAGE * u_deg(stated, key))

    assert np.mean(within) < 0.9


@pytest.mark.parametrize("side", ["right", "left"])
def test_so_do_elevation_its_plane_and_the_elevation_at_release(told: Maker, side: str) -> None:
    """A hand that lets go on the way down; the release is where its force falls below 3 N."""
    within: list[bool] = []
    for seed in range(4):
        made = told(side, 3, "T03", seed=seed, repetitions=3, model=MODEL)
        trial = analyse(made.recording)
        series = trial.series
        start_s = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
        truth = made.rig.truth(series.time_s + start_s)
        raised_deg = np.rad2deg(truth.elevation_rad)
        for repetition in trial.repetitions:
            values, part = repetition.measured.values, repetition.spans.movement
            let_go = part.start + np.flatnonzero(truth.magnitude_n[part.slice] > 3.0)[-1] + 1
            for key, true in (
                ("elevation_top", raised_deg[part.slice].max()),
                ("release_elevation", raised_deg[let_go]),
            ):
                found, u = values[f"{key}_deg"], values[f"{key}_u_deg"]
                assert isinstance(found, float)
                assert isinstance(u, float)
                within.append(abs(found - true) <= COVERAGE * u)
            rows = part.start + np.flatnonzero(np.isfinite(series.plane_rad[part.slice]))
            turned = series.plane_rad[rows] - truth.plane_rad[rows]
            pose = pose_u(series, rows)
            assert pose is not None
            within.append(bool(np.mean(np.abs(turned) <= COVERAGE * pose.plane_rad) > 0.9))

    assert len(within) == 4 * 3 * 3
    assert np.mean(within) >= 0.9
