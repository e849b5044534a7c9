"""The figures over the arc: a target that moves is drawn where it moves."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.scapula import ScapularRhythm
from analysis.target import Target
from analysis.trial import Trial
from ui.report.figures.arc import draw

DOTTED = re.compile(r'<path d="([^"]*)"[^>]*stroke-dasharray: 0\.9')


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


def test_a_target_that_moves_is_two_curves_and_one_that_stands_still_a_line(trial: Trial) -> None:
    still, _ = draw(trial)
    moving, _ = draw(replace(trial, target=Target(scapula=ScapularRhythm())))

    assert [len(line.split("L")) for line in DOTTED.findall(still)] == [2]
    lines = DOTTED.findall(moving)
    assert len(lines) == 2
    for line in lines:
        heights = [float(point.split()[1]) for point in line.replace("M", "").split("L")]
        assert heights[0] < heights[10] < heights[20]  # down the page: it tilts down
    assert moving.count(">target</text>") == still.count(">target</text>") == 1
