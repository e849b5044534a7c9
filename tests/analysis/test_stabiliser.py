"""The stabilising hand of the virtual rig: found as it was."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from acquisition.recording.model import Recording
from analysis.pipeline import analyse
from analysis.trial import PhaseName, Trial

Maker = Callable[..., Any]


def told_of(told: Maker, person: str, side: str = "right") -> Any:
    return told(side, 3, person, stabiliser=True, seed=5, repetitions=1)


def measures(trial: Trial, phase: PhaseName) -> dict[str, Any]:
    return dict(trial.repetitions[0].phases[phase].values)


@pytest.mark.parametrize("side", ["right", "left"])
def test_its_force_is_the_true_one(told: Maker, side: str) -> None:
    """Within 0.1 N RMS: nothing of the arm or the shell comes into it."""
    made = told_of(told, "E01", side)

    series = analyse(made.recording).series

    truth = made.rig.truth(series.time_s)
    assert series.stabiliser_n is not None
    assert series.stabiliser_on is not None
    on = truth.stabilising_n > 10.0
    error = series.stabiliser_n[on] - truth.stabilising_n[on]
    assert np.sqrt(np.mean(error**2)) < 0.1
    assert (series.stabiliser_on == (truth.stabilising_n > 4.0)).mean() > 0.995


@pytest.mark.parametrize(
    ("person", "present", "raised", "lowered"),
    [("E01", (True, True), 100.0, 100.0), ("T12", (False, False), 0.0, 0.0),
     ("T13", (True, False), 100.0, 0.0)],
)  # fmt: skip
def test_it_is_told_whether_that_hand_was_there(
    told: Maker, person: str, present: tuple[bool, bool], raised: float, lowered: float
) -> None:
    trial = analyse(told_of(told, person).recording)

    up, down = measures(trial, PhaseName.RAISE), measures(trial, PhaseName.LOWER)

    assert (up["stabiliser_present"], down["stabiliser_present"]) == present
    assert up["stabiliser_coverage_percent"] == pytest.approx(raised, abs=1.0)
    assert down["stabiliser_coverage_percent"] == pytest.approx(lowered, abs=5.0)
    if person == "E01":
        assert up["stabiliser_force_mean_N"] == pytest.approx(18.0, abs=0.3)


def without(recording: Recording, name: str) -> Recording:
    streams = {key: stream for key, stream in recording.streams.items() if key != name}
    return replace(recording, streams=streams)


def test_a_cell_that_sent_nothing_leaves_the_rest_as_it_is(told: Maker) -> None:
    recording = told_of(told, "E01").recording

    with_it, without_it = analyse(recording), analyse(without(recording, "stabiliser"))

    assert without_it.series.stabiliser_n is None
    lost = without_it.repetitions[0].phases[PhaseName.MOVEMENT]
    assert lost.values["stabiliser_force_mean_N"] is None
    np.testing.assert_array_equal(with_it.series.force_n, without_it.series.force_n)


def test_samples_that_were_lost_are_not_known(told: Maker) -> None:
    recording = told_of(told, "E01").recording
    stream = recording.streams["stabiliser"]
    keep = (stream.sample_number < 2000) | (stream.sample_number >= 2250)
    cut = replace(
        stream,
        sample_number=stream.sample_number[keep],
        device_time_us=stream.device_time_us[keep],
        counts=stream.counts[keep],
        segment=stream.segment[keep],
        arrival_ns=stream.arrival_ns[keep],
    )

    series = analyse(replace(recording, streams={**recording.streams, "stabiliser": cut})).series

    assert series.stabiliser_n is not None
    unknown = np.isnan(series.stabiliser_n)
    assert unknown.sum() / series.fs_hz == pytest.approx(1.0, abs=0.01)
    assert not series.missing[unknown].any()  # the glide does not suffer
