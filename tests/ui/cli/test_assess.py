"""The verb assess: a sheet beside the recording, said in one line each."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from ui.cli.main import main


@pytest.fixture
def trial(recorded: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(recorded, tmp_path / "trial.h5"))


def test_it_writes_a_sheet_beside_the_recording_and_says_each_verdict(
    trial: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["assess", str(trial), "--yes", "hand_below", "--no", "stop_agreed"]) == 0

    out = capsys.readouterr().out.splitlines()
    assert out[0] == "upward push: not met"
    assert "hand_below: yes" in out
    assert "stop_agreed: no" in out
    assert out[-1] == str(trial.with_name("trial_result_1.html"))
    assert trial.with_name("trial_result_1.html").is_file()


def test_it_answers_programs_too(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["assess", str(trial)])
    capsys.readouterr()

    assert main(["assess", str(trial), "--json"]) == 0

    found = json.loads(capsys.readouterr().out)
    assert (found["version"], found["new"]) == (1, False)
    assert found["criteria"][0]["key"] == "upward"
    assert found["checklist"]["item"][0]["tick"] == "open"


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (["--yes", "nonsense"], "no item 'nonsense'; there are landmark_found"),
        (["--yes", "hand_below", "--no", "hand_below"], "hand_below: answered both"),
        (["--examiner", "Jo"], "never a name"),
        (["--checklist", "none.toml"], "none.toml: no such file"),
        (["--out", "nowhere"], "nowhere: no such folder"),
    ],
)
def test_what_will_not_do_is_one_line(
    trial: Path, more: list[str], line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["assess", str(trial), *more]) == 1

    err = capsys.readouterr().err
    assert line in err
    assert err.count("\n") == 1
    assert not list(trial.parent.glob("*.html"))
