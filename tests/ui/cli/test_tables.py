"""The table: fits a terminal, hides nothing, and colour says nothing alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from acquisition.recording.reader import read_recording
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.pipeline import analyse
from analysis.target import ForceBand, Target
from analysis.trial import Measured, PhaseName, QualityFinding, Severity, Trial
from ui.cli.tables import trial_table


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


def printed(trial: Trial, *, width: int = 80, whole: bool = False) -> str:
    console = Console(width=width, color_system=None, force_terminal=False)
    with console.capture() as captured:
        console.print(trial_table(trial, whole=whole))
    return captured.get()


@pytest.mark.parametrize("width", [80, 120])
def test_each_verdict_stands_beside_its_number_and_what_was_wanted(
    trial: Trial, width: int
) -> None:
    text = printed(trial, width=width)

    assert "≤ +2°" in text
    assert "✗ +" in text
    assert "✓ 100 %" in text
    assert "✓ met  ✗ not met" in text
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text


def test_every_measure_can_be_had(trial: Trial) -> None:
    text = printed(trial, whole=True)

    keys = [one.key for one in PHASE_MEASURES] + [one.key for one in REPETITION_MEASURES]
    assert [key for key in keys if key not in text] == []


def test_a_missing_value_is_a_dash_and_its_reason_is_told_once(trial: Trial) -> None:
    twice = replace(trial, repetitions=trial.repetitions * 2)

    text = printed(twice, whole=True)

    assert text.count("a three-axis cell cannot tell where the hand is") == 1
    assert " — " in text


def test_without_a_direction_it_says_why_not_zero(trial: Trial) -> None:
    (repetition,) = trial.repetitions
    movement = repetition.phases[PhaseName.MOVEMENT]
    gone = {key: "too light to tell" for key in movement.values if "_deg" in key}
    blind = Measured({**movement.values, **dict.fromkeys(gone)}, gone)
    phases = {**repetition.phases, PhaseName.MOVEMENT: blind}

    text = " ".join(
        printed(replace(trial, repetitions=(replace(repetition, phases=phases),))).split()
    )

    assert "— azimuth_mean_deg, superior_angle_mean_deg, off_axis_mean_deg: too light" in text
    assert "— not known" in text


def test_an_undecided_value_is_called_so(trial: Trial) -> None:
    """A limit at the very value found: nearer than twice its uncertainty."""
    found = trial.repetitions[0].phases[PhaseName.MOVEMENT].values["off_axis_mean_deg"]
    assert isinstance(found, float)

    text = printed(replace(trial, target=Target(cone_deg=found)))

    assert f"? {found:.1f}°" in text
    assert "? undecided" in text


def test_what_agrees_is_advised_once_with_every_place(trial: Trial) -> None:
    second = replace(trial.repetitions[0], number=2)

    text = printed(replace(trial, repetitions=(trial.repetitions[0], second)))

    assert text.count("change first") == 1
    assert "repetition 1: from" in text
    assert "repetition 2: from" in text


def test_nothing_is_advised_if_all_is_well(trial: Trial) -> None:
    easy = Target(
        cone_deg=90.0, superior_limit_deg=45.0, force_band=ForceBand(low_n=1.0, high_n=99.0)
    )

    text = printed(replace(trial, target=easy))

    assert "change first" not in text
    assert "✗" not in text
    assert "Nothing to change: every criterion was met." in text


def test_a_concern_about_the_data_comes_before_the_numbers(trial: Trial) -> None:
    concern = QualityFinding("lost_samples", Severity.WARNING, "7 of 9", "0", "Look at the cable.")

    text = printed(replace(trial, quality=(concern,)))

    assert text.index("warning: lost samples: 7 of 9. Look at the cable.") < text.index("azimuth")


def test_without_a_repetition_it_says_so(trial: Trial) -> None:
    assert "never left home and passed 30°" in printed(replace(trial, repetitions=()))
