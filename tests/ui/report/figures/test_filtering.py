"""The figures of the low-pass."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from acquisition.recording.reader import read_recording
from analysis.cutoff import residual_analysis
from analysis.pipeline import analyse
from analysis.trial import Trial
from ui.report.figures import filtering


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


def test_the_cut_off_used_and_the_balanced_one_are_named(trial: Trial) -> None:
    assert trial.residuals is not None
    response, residuals = filtering.draw(trial)

    assert "10 Hz, −3 dB" in response
    assert "on screen, 23 ms late" in response
    assert f"balanced at {trial.residuals.cutoff_hz:.0f} Hz" in residuals


def test_without_a_straight_tail_no_noise_is_named(trial: Trial) -> None:
    bent = residual_analysis(np.zeros(5000), fs_hz=1000.0)

    _, residuals = filtering.draw(replace(trial, residuals=bent))

    assert "balanced" not in residuals
    assert "noise" not in residuals


def test_where_too_little_is_known_only_the_response_is_drawn(trial: Trial) -> None:
    assert len(filtering.draw(replace(trial, residuals=None))) == 1
