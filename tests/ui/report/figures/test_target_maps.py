"""Target maps: the limit that is drawn, and what is drawn of a push."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.target import Target
from analysis.trial import Trial
from ui.report.figures import target_maps


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


def test_the_limit_lies_tilt_plus_limit_above_the_target() -> None:
    """Straight above the target the map's distance is the difference of the superior angles."""
    target = Target(inferior_tilt_deg=5.0, superior_limit_deg=2.0)

    limit = target_maps._limit_deg(target)

    middle = limit[len(limit) // 2]
    assert np.allclose(middle, [0.0, 7.0], atol=1e-9)


def test_a_level_target_at_a_level_limit_gives_the_equator() -> None:
    """A great circle through the middle of an azimuthal equidistant map is a straight line."""
    limit = target_maps._limit_deg(Target(inferior_tilt_deg=0.0, superior_limit_deg=0.0))

    assert np.allclose(limit[:, 1], 0.0, atol=1e-9)
    assert np.allclose(limit[:, 0], np.linspace(-90.0, 90.0, len(limit)), atol=1e-9)


def test_every_repetition_has_a_map(trial: Trial) -> None:
    several = tuple(replace(trial.repetitions[0], number=number) for number in (1, 2, 3))

    drawn = target_maps.draw(replace(trial, repetitions=several))

    assert [f">Repetition {number}</text>" in svg for number, svg in enumerate(drawn, 1)] == [
        True
    ] * 3


def test_maps_that_are_not_drawn_are_told(trial: Trial) -> None:
    many = replace(trial, repetitions=trial.repetitions * 30)

    assert len(target_maps.draw(many)) == target_maps.MOST_MAPS
    assert "Only the first 24 of 30 are drawn." in target_maps.lead(many)


def test_without_a_direction_nothing_is_drawn_but_words(trial: Trial) -> None:
    nowhere = np.zeros(len(trial.series), dtype=bool)
    blind = replace(trial, series=replace(trial.series, directed=nowhere))

    (svg,) = target_maps.draw(blind)

    assert "too light to tell" in svg
