"""The demo recordings: readable today, small, and showing what their page says they show."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquisition.recording.reader import read_recording
from analysis.criteria import Verdict
from analysis.pipeline import analyse
from analysis.trial import PhaseName
from ui.judged import judged

FOLDER = Path(__file__).resolve().parents[2] / "recordings_demo"
FILES = sorted(FOLDER.glob("*.h5"))
MAX_BYTES = 5_000_000
MISSED = {
    "expert_right": set(),
    "upward_drift_right": {"upward", "direction"},
    "early_release_left_six_axes": {"held"},
}


def test_there_are_those_that_the_page_names_and_they_stay_small() -> None:
    page = (FOLDER / "README.md").read_text("utf-8")

    assert [path.stem for path in FILES] == sorted(MISSED)
    assert [path.name for path in FILES if f"`{path.name}`" not in page] == []
    assert sum(path.stat().st_size for path in FILES) < MAX_BYTES


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_each_shows_the_fault_it_is_there_for_and_no_other(path: Path) -> None:
    trial = analyse(read_recording(path))

    (one,) = judged(trial)
    found = {criterion.key for criterion in one.criteria if criterion.verdict is Verdict.NOT_MET}
    assert found == MISSED[path.stem]
    assert {finding.severity.value for finding in trial.quality} <= {"fine", "note"}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_side_and_axes_are_those_of_its_name(path: Path) -> None:
    trial = analyse(read_recording(path))

    (repetition,) = trial.repetitions
    shift = repetition.phases[PhaseName.MOVEMENT].values["contact_shift_mm"]
    assert trial.recording["side"] == ("left" if "left" in path.stem else "right")
    assert (shift is not None) == ("six_axes" in path.stem)


def test_they_hold_codes_and_say_that_they_are_invented() -> None:
    labels = [read_recording(path).label for path in FILES]

    assert sorted(label.person for label in labels) == ["E01", "T01", "T03"]
    assert {label.note for label in labels} == {"invented"}
