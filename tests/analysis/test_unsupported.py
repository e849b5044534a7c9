"""A recording that cannot support a measure does not get it: each case, on a whole recording.

The measure is null with a reason that names the cause, and what the recording does support stays
as it was.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from acquisition.recording.model import Recording, StreamData
from acquisition.virtual_rig import SensorModel
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.pipeline import analyse
from analysis.settings import AnalysisSettings
from analysis.target import Target
from analysis.trial import Measured, PhaseName, Repetition
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM

Maker = Callable[..., Any]
MODEL = SensorModel(force_rate_hz=200.0, imu_rate_hz=200.0)
RATE = 200

DIRECTION = {
    "azimuth_mean_deg", "azimuth_error_mean_deg", "superior_angle_mean_deg",
    "superior_angle_p95_deg", "superior_drift_deg_per_10deg", "superior_drift_deg",
    "off_axis_mean_deg", "off_axis_rms_deg", "off_axis_p95_deg", "direction_dispersion_deg",
    "direction_kappa", "direction_cone95_deg", "azimuth_u_deg", "superior_angle_u_deg",
    "off_axis_u_deg",
}  # fmt: skip
HELD = {
    "force_mean_N", "force_sd_N", "force_cv_percent", "force_detrended_sd_N",
    "force_tremor_rms_N", "glide_mean_N", "superior_force_mean_N", "superior_force_p95_N",
    "gated_percent", "force_u_N", "glide_u_N", "superior_force_u_N",
}  # fmt: skip
KNOWN = {"force_in_band_percent", "on_target_percent", "hold_coverage_percent"}
SIX_AXES = {"contact_shift_mm"}
SECOND_CELL = {
    "stabiliser_present", "stabiliser_force_mean_N", "stabiliser_coverage_percent"
}  # fmt: skip
SHARES = {"valid_percent", "missing_percent", "saturated_percent"}
RELEASE = {"released_before_down", "release_elevation_deg", "release_elevation_u_deg"}
WHOLE = {measure.key for measure in REPETITION_MEASURES}


@pytest.fixture(scope="module")
def full(told: Maker) -> Any:
    """Six axes and a second cell: everything can be had."""
    return told(axes=6, stabiliser=True, repetitions=1, seed=4, model=MODEL)


def changed(recording: Recording, name: str, **fields: Any) -> Recording:
    stream = dataclasses.replace(recording.streams[name], **fields)
    return dataclasses.replace(recording, streams={**recording.streams, name: stream})


def without(recording: Recording, name: str, first_s: float, last_s: float) -> Recording:
    """Return the recording with some seconds of a stream lost."""
    stream = recording.streams[name]
    since_s = (stream.device_time_us - stream.device_time_us[0]) * 1e-6
    keep = (since_s < first_s) | (since_s >= last_s)
    columns = {
        field.name: getattr(stream, field.name)[keep]
        for field in dataclasses.fields(StreamData)
        if field.name != "spec"
    }
    return changed(recording, name, **columns)


def the_one(recording: Recording, **options: Any) -> Repetition:
    (found,) = analyse(recording, **options).repetitions
    return found


def missing(measured: Measured) -> set[str]:
    return {key for key, value in measured.values.items() if value is None}


def test_the_families_name_every_measure_of_a_phase() -> None:
    assert {one.key for one in PHASE_MEASURES} == (
        DIRECTION | HELD | KNOWN | SIX_AXES | SECOND_CELL | SHARES
    )


def test_a_full_recording_gets_all_of_them(full: Any) -> None:
    found = the_one(full.recording)

    for phase in PhaseName:
        assert missing(found.phases[phase]) == set()
    assert missing(found.measured) == set()


def test_three_axes_and_no_second_cell_get_the_rest(told: Maker) -> None:
    found = the_one(told(repetitions=1, seed=4, model=MODEL).recording)

    movement = found.phases[PhaseName.MOVEMENT]
    assert missing(movement) == SIX_AXES | SECOND_CELL
    assert "three-axis" in movement.reasons["contact_shift_mm"]
    assert "stabilising hand" in movement.reasons["stabiliser_present"]


def test_a_push_too_light_has_a_force_but_no_direction(full: Any) -> None:
    """Here: any push, by a limit of a tenth of a degree."""
    found = the_one(full.recording, target=Target(direction_u_limit_deg=0.1))

    for phase in PhaseName:
        measured = found.phases[phase]
        assert missing(measured) == DIRECTION | SIX_AXES
        assert measured.values["gated_percent"] == 100.0
        assert measured.values["valid_percent"] == 0.0
        assert measured.values["on_target_percent"] == 0.0
        assert not measured.intervals.keys() & DIRECTION
        assert "too light" in measured.reasons["azimuth_mean_deg"]
    assert missing(found.measured) == set()


def test_a_channel_at_its_rail_gives_no_force(full: Any) -> None:
    stream = full.recording.streams[FORCE_STREAM]
    counts = stream.counts.copy()
    counts[4 * RATE : -3 * RATE, 0] = stream.spec.channels[0].count_max

    found = the_one(changed(full.recording, FORCE_STREAM, counts=counts))

    measured = found.phases[PhaseName.MOVEMENT]
    assert missing(measured) >= DIRECTION | HELD | KNOWN | SIX_AXES
    assert measured.values["saturated_percent"] == 100.0
    assert measured.values["missing_percent"] == 0.0
    assert found.measured.values["elevation_speed_peak_deg_s"] is not None
    assert found.measured.values["smoothness_sparc"] is not None


def test_lost_force_leaves_the_movement_of_the_arm(full: Any) -> None:
    last_s = full.rig.duration_s - 2.0

    found = the_one(without(full.recording, FORCE_STREAM, 3.0, last_s))

    measured = found.phases[PhaseName.MOVEMENT]
    assert missing(measured) >= DIRECTION | HELD | KNOWN | SIX_AXES
    assert measured.values["missing_percent"] == 100.0
    assert measured.intervals == {}
    gone = missing(found.measured)
    assert gone == RELEASE | {"time_to_hold_s"}


def test_without_a_heading_there_is_no_azimuth(full: Any) -> None:
    """The inertial unit was silent as the arm left home, and the recording ends in mid-air."""
    plan = full.rig.truth(np.array([0.0, full.rig.duration_s - 0.1])).repetitions[0]
    lossy = without(full.recording, IMU_STREAM, plan.raise_start_s - 0.2, plan.raise_start_s + 0.7)
    for name in (FORCE_STREAM, IMU_STREAM):
        lossy = without(lossy, name, plan.lower_start_s + 1.0, 1e9)

    found = the_one(lossy)

    raising = found.phases[PhaseName.RAISE]
    assert missing(raising) >= DIRECTION | {"glide_mean_N"}
    assert "which way the arm faced" in raising.reasons["azimuth_mean_deg"]
    assert found.measured.values["elevation_speed_peak_deg_s"] is not None


def test_a_movement_with_gaps_has_no_smoothness(full: Any) -> None:
    plan = full.rig.truth(np.array([0.0, full.rig.duration_s - 0.1])).repetitions[0]

    found = the_one(
        without(full.recording, IMU_STREAM, plan.raise_start_s + 2.0, plan.raise_start_s + 2.5)
    )

    assert missing(found.measured) == {"smoothness_sparc", "smoothness_ldlj"}
    assert "gaps" in found.measured.reasons["smoothness_sparc"]
    assert missing(found.phases[PhaseName.LOWER]) == set()


@pytest.mark.parametrize("at_end", [True, False])
def test_an_unfinished_repetition_has_no_durations(full: Any, at_end: bool) -> None:
    plan = full.rig.truth(np.array([0.0, full.rig.duration_s - 0.1])).repetitions[0]
    cut = full.recording
    first_s, last_s = (plan.top_start_s + 2.0, 1e9) if at_end else (3.0, plan.raise_start_s + 3.0)
    for name in (FORCE_STREAM, IMU_STREAM):
        cut = without(cut, name, first_s, last_s)

    found = [one for one in analyse(cut).repetitions if not one.spans.complete][-1]

    gone = missing(found.measured)
    assert gone >= {
        "raise_duration_s", "lower_duration_s", "smoothness_sparc", "smoothness_ldlj", "end_s",
        *RELEASE,
    }  # fmt: skip
    assert "unfinished" in found.measured.reasons["raise_duration_s"]
    assert found.measured.values["complete"] is False


def test_a_hand_on_from_the_start_has_no_time_to_hold(full: Any, told: Maker) -> None:
    """No touch was seen, so there is nothing to count from."""
    plan = full.rig.truth(np.array([0.0, full.rig.duration_s - 0.1])).repetitions[0]
    two = told(axes=6, repetitions=2, seed=4, model=MODEL)
    late = two.recording
    for name in (FORCE_STREAM, IMU_STREAM):
        late = without(late, name, 0.0, plan.full_force_s + 0.5)

    first = analyse(late).repetitions[0]

    assert first.measured.values["time_to_hold_s"] is None
    assert "no touch to count from" in first.measured.reasons["time_to_hold_s"]


def test_a_low_pass_below_the_tremor_leaves_none_to_be_seen(full: Any) -> None:
    found = the_one(full.recording, settings=AnalysisSettings(cutoff_hz=4.0))

    measured = found.phases[PhaseName.MOVEMENT]
    assert measured.values["force_tremor_rms_N"] is None
    assert "low-pass" in measured.reasons["force_tremor_rms_N"]
    assert measured.values["force_detrended_sd_N"] is not None


def test_a_hand_that_stayed_away_has_nothing_but_its_absence(told: Maker) -> None:
    made = told(repetitions=1, seed=4, model=MODEL, person="T06", axes=6)
    far = AnalysisSettings(contact_on_n=50.0, contact_off_n=45.0)

    found = the_one(made.recording, settings=far)

    measured = found.phases[PhaseName.MOVEMENT]
    assert missing(measured) >= DIRECTION | HELD | SIX_AXES
    assert measured.values["hold_coverage_percent"] == 0.0
    assert measured.values["on_target_percent"] == 0.0
    assert "hand was" in measured.reasons["force_mean_N"]
    assert "hand was" in measured.reasons["azimuth_mean_deg"]
    assert missing(found.measured) == RELEASE | {"time_to_hold_s"}
    assert missing(found.measured) <= WHOLE
