"""A real recording of the virtual rig, made once, for commands, reports and screens."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.virtual_rig import default_rig
from analysis.target import Target


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a file with one repetition of a trainee whose hand slips upward."""
    outcome = record_trial(
        "virtual:?trainee=T01&seed=7&reps=1&speed=max",
        tmp_path_factory.mktemp("recorded") / "trial.h5",
        rig=default_rig(),
        target_json=Target().to_json(),
        label=TrialLabel(person="T01", note="[bold]<script>alert(1)</script>"),
    )
    assert outcome.whole
    return outcome.path
