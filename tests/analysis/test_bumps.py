"""A rig bumped in mid-session: found, reckoned with, and said; against the virtual rig's truth."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from acquisition.virtual_rig import SensorModel
from acquisition.virtual_rig.truth import Truth
from analysis.pipeline import analyse
from analysis.trial import PhaseName, QualityFinding, Severity, Trial

Maker = Callable[..., Any]
Floats = NDArray[np.float64]

MODEL = SensorModel(force_rate_hz=100.0, imu_rate_hz=100.0)
LIMIT_DEG = 0.5
UP = np.array([0.0, 1.0, 0.0])
AXES = {
    "forward": (0.0, 0.0, 1.0),
    "sideways": (1.0, 0.0, 0.0),
    "slanted": (0.6, 0.0, -0.8),
    "in the plane of the lifts": (np.sin(np.deg2rad(60.0)), 0.0, -np.cos(np.deg2rad(60.0))),
}


def leaning(degrees: float, axis: tuple[float, float, float] = (1.0, 0.0, 0.0)) -> Floats:
    turned = Rotation.from_rotvec(np.deg2rad(degrees) * np.array(axis)).apply(UP)
    return np.asarray(turned)


def five(told: Maker) -> Any:
    return told("right", 3, "E01", seed=4, repetitions=5, model=MODEL)


def truth_at(made: Any, trial: Trial) -> Truth:
    start_s = max(float(stream.time_s(0, 1)[0]) for stream in made.rig.streams)
    truth: Truth = made.rig.truth(trial.series.time_s + start_s)
    return truth


def error_deg(made: Any, trial: Trial) -> Floats:
    return np.asarray(np.rad2deg(trial.series.elevation_rad - truth_at(made, trial).elevation_rad))


def rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))


def bump_finding(trial: Trial) -> QualityFinding:
    return next(one for one in trial.quality if one.key == "rig_bumped")


def left_out(trial: Trial) -> list[int]:
    """Return the repetitions whose direction was withheld because the rig was moved."""
    return [
        one.number
        for one in trial.repetitions
        if "moved" in one.phases[PhaseName.MOVEMENT].reasons.get("azimuth_mean_deg", "")
    ]


@pytest.mark.parametrize("lean_deg", [3.0, 4.5, 6.0, 12.0])
@pytest.mark.parametrize("axis", AXES.values(), ids=AXES)
def test_behind_a_bump_the_new_rests_count_and_the_report_says_so(
    told: Maker, bumped: Maker, lean_deg: float, axis: tuple[float, float, float]
) -> None:
    """From the rest before the third repetition on the base leans, beyond its tolerance too."""
    still = five(told)
    at_s = still.rig.truth(np.array([0.0, 1e4])).repetitions[2].slot_start_s + 1.0
    made = bumped(still, [(at_s, leaning(lean_deg, axis))])

    trial = analyse(made.recording)

    error, time_s = error_deg(made, trial), trial.series.time_s
    late = time_s > at_s + 0.5
    assert len(trial.repetitions) == 5
    assert rms(error[late]) < LIMIT_DEG
    assert rms(error[time_s < at_s - 0.2]) < LIMIT_DEG
    raised = late & (truth_at(made, trial).elevation_rad > np.deg2rad(20.0))
    plane = np.rad2deg(trial.series.plane_rad - truth_at(made, trial).plane_rad)[raised]
    assert rms(plane) < LIMIT_DEG
    finding = bump_finding(trial)
    assert finding.severity is Severity.WARNING
    assert float(finding.value.split("°")[0]) == pytest.approx(lean_deg, abs=0.2)
    assert left_out(trial) == []
    assert trial.repetitions[4].measured.values["complete"]


@pytest.mark.parametrize("lean_deg", [3.0, 6.0, 12.0])
def test_a_repetition_in_which_the_rig_was_bumped_has_no_measures(
    told: Maker, bumped: Maker, lean_deg: float
) -> None:
    still = five(told)
    plan = still.rig.truth(np.array([0.0, 1e4])).repetitions[2]
    made = bumped(still, [(plan.raise_start_s + 3.0, leaning(lean_deg, AXES["slanted"]))])

    trial = analyse(made.recording)

    assert len(trial.repetitions) == 5
    assert left_out(trial) == [3]
    third = trial.repetitions[2]
    told_anyway = {"side", "start_s", "top_s", "end_s", "complete"}
    assert {key for key, value in third.measured.values.items() if value is not None} == told_anyway
    assert all("the rig was moved" in why for why in third.measured.reasons.values())
    since = trial.series.time_s > plan.raise_start_s + 2.0
    assert not trial.series.directed[since][: third.spans.movement.stop - np.argmax(since)].any()
    assert third.phases[PhaseName.RAISE].intervals == {}
    late = trial.series.time_s > plan.slot_end_s + 0.5
    assert rms(error_deg(made, trial)[late]) < LIMIT_DEG


def test_an_undisturbed_rig_was_never_bumped(told: Maker) -> None:
    trial = analyse(five(told).recording)

    assert bump_finding(trial).severity is Severity.FINE
    assert trial.series.unsettled is None


@pytest.mark.parametrize("lean_deg", [6.0, 12.0])
def test_a_bump_with_one_rest_behind_it_is_said_and_levels_nothing(
    told: Maker, bumped: Maker, lean_deg: float
) -> None:
    """One rest behind it may be an arm that did not come home."""
    still = five(told)
    plan = still.rig.truth(np.array([0.0, 1e4])).repetitions[4]
    made = bumped(still, [(plan.raise_start_s + 3.0, leaning(lean_deg))])

    trial = analyse(made.recording)

    finding = bump_finding(trial)
    assert finding.severity is Severity.WARNING
    found_deg = float(finding.value.removeprefix("perhaps ").split("°")[0])
    assert found_deg == pytest.approx(lean_deg, abs=0.6)  # the arm is just arriving
    assert left_out(trial) == [5]


def test_a_rig_that_was_put_right_again_is_doubted_in_between(told: Maker, bumped: Maker) -> None:
    """Something under the arm looks the same: nothing is levelled, and nothing is believed."""
    still = five(told)
    plans = still.rig.truth(np.array([0.0, 1e4])).repetitions
    away = [(plans[1].slot_start_s + 1.0, leaning(6.0)), (plans[4].slot_start_s + 1.0, UP)]
    made = bumped(still, away)

    trial = analyse(made.recording)

    assert "perhaps" in bump_finding(trial).value
    assert left_out(trial) == [2, 3, 4]
    late = trial.series.time_s > plans[4].slot_start_s + 2.0
    assert rms(error_deg(made, trial)[late]) < LIMIT_DEG


def test_two_bumps_are_both_reckoned_with(told: Maker, bumped: Maker) -> None:
    still = five(told)
    plans = still.rig.truth(np.array([0.0, 1e4])).repetitions
    moves = [
        (plans[1].slot_start_s + 1.0, leaning(6.0)),
        (plans[3].slot_start_s + 1.0, leaning(4.0, AXES["forward"])),
    ]
    made = bumped(still, moves)

    trial = analyse(made.recording)

    error, time_s = error_deg(made, trial), trial.series.time_s
    assert left_out(trial) == []
    for after_s, until_s in ((moves[0][0], moves[1][0]), (moves[1][0], time_s[-1])):
        here = (time_s > after_s + 0.5) & (time_s < until_s - 0.2)
        assert rms(error[here]) < LIMIT_DEG


def test_a_repetition_in_which_the_rig_was_turned_on_its_table_has_no_measures(
    told: Maker, bumped: Maker
) -> None:
    """The vertical does not tell, only the heading before and behind."""
    still = five(told)
    plan = still.rig.truth(np.array([0.0, 1e4])).repetitions[2]
    made = bumped(still, [(plan.raise_start_s + 3.0, UP)], turned_deg=8.0)

    trial = analyse(made.recording)

    truth, time_s = truth_at(made, trial), trial.series.time_s
    sure = (time_s < plan.slot_start_s) | (time_s > plan.slot_end_s + 1.0)
    sure &= truth.elevation_rad > np.deg2rad(20.0)
    assert left_out(trial) == [3]
    assert rms(error_deg(made, trial)) < LIMIT_DEG
    assert rms(np.rad2deg(trial.series.plane_rad - truth.plane_rad)[sure]) < LIMIT_DEG
    finding = bump_finding(trial)
    assert finding.severity is Severity.WARNING
    assert float(finding.value.split()[2].rstrip("°")) == pytest.approx(8.0, abs=0.3)
