"""The profile figure: what it rests on is told, and nothing is drawn of nothing."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.trial import Trial
from ui.report.figures.profile import draw, lead


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


def test_it_has_the_angle_and_the_time_it_rests_on(trial: Trial) -> None:
    angle, time = draw(trial)

    assert "off-axis angle in °" in angle
    assert "s in each step" in time
    for way in ("raise", "lower"):
        assert f">{way}</text>" in angle
        assert f">{way}</text>" in time
    assert "steps of 5°" in lead(trial)
    assert "twice its standard uncertainty" in lead(trial)


def test_without_a_direction_nothing_is_drawn(trial: Trial) -> None:
    blind = replace(trial.series, directed=np.zeros(len(trial.series), dtype=np.bool_))

    assert draw(replace(trial, series=blind)) == []
    assert draw(replace(trial, repetitions=())) == []


def test_steps_with_hardly_any_time_are_left_out(trial: Trial) -> None:
    """Of a push with a direction for 50 ms in each second no line is left."""
    number = np.arange(len(trial.series))
    seldom = trial.series.directed & (number % 1000 < 5)

    angle, _ = draw(replace(trial, series=replace(trial.series, directed=seldom)))

    whole, _ = draw(trial)
    assert len(re.findall("<use ", angle)) < 0.5 * len(re.findall("<use ", whole))
