"""Folders of recordings: numbered trials, and finding them again."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
import pytest

from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE, USAGE
from ui.cli.main import main

TODAY = datetime.now(UTC).date().isoformat()


def record(out: Path, *argv: str) -> None:
    url = "virtual:?trainee=T01&reps=1&speed=max"
    assert main(["record", "--port", url, "--seconds", "1", "--out", str(out), *argv]) == DONE


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("session")
    record(path, "--person", "T07", "--condition", "with_feedback")
    record(path, "--person", "T07", "--condition", "retention")
    record(path, "--person", "E02", "--trial", "9")
    return path


def told(capsys: pytest.CaptureFixture[str], *argv: str) -> list[str]:
    capsys.readouterr()
    assert main(["info", *argv]) == DONE
    return capsys.readouterr().out.splitlines()


def test_each_person_and_day_has_a_folder(folder: Path) -> None:
    days = {path.relative_to(folder).parts[:-1] for path in folder.rglob("*.h5")}

    assert {person for person, _ in days} == {"T07", "E02"}
    assert len(days) == 2


def test_trials_are_counted_in_the_session_s_folder(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, folder: Path
) -> None:
    """Those of another day do not count, and the files are the truth."""
    (session,) = (folder / "T07").iterdir()
    (tmp_path / "T07").mkdir()
    shutil.copytree(session, tmp_path / "T07" / "2020-01-01")

    record(tmp_path, "--person", "T07")

    assert told(capsys, str(tmp_path), "--code", "T07")[-1].split()[2] == "#1"


def test_trials_in_a_folder_are_numbered_by_person(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    lines = told(capsys, str(folder))

    assert [line.split()[1:3] for line in lines] == [["T07", "#1"], ["T07", "#2"], ["E02", "#9"]]


@pytest.mark.parametrize(
    ("argv", "count"),
    [
        (["--person", "T07"], 2),
        (["--person", "T07", "--condition", "retention"], 1),
        (["--since", "2026-01-01"], 3),
        (["--since", "2999-01-01"], 0),
        (["--code", "T07", "--date", TODAY], 2),
        (["--date", "2020-01-01"], 0),
        (["--person", "T99"], 0),
    ],
)
def test_they_are_found_by_code_condition_and_date(
    capsys: pytest.CaptureFixture[str], folder: Path, argv: list[str], count: int
) -> None:
    assert len(told(capsys, str(folder), *argv)) == count
    assert len(json.loads("\n".join(told(capsys, str(folder), "--json", *argv)))) == count


def test_what_is_no_date_is_wrong_usage(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    with pytest.raises(SystemExit) as exit_:
        main(["info", str(folder), "--since", "yesterday"])

    assert exit_.value.code == USAGE
    assert "'yesterday' is no date; write it like 2026-03-31" in capsys.readouterr().err


def test_a_number_out_of_range_is_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    argv = ["record", "--port", "virtual:?reps=1", "--out", str(tmp_path), "--trial", "-1"]

    assert main(argv) == FAILED
    assert "trial -1 must lie between 0" in capsys.readouterr().err


def test_what_a_killed_recorder_left_is_listed_and_checked_too(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, folder: Path
) -> None:
    source = min((folder / "T07").rglob("*.h5"))
    left = tmp_path / "left.h5.part"
    left.write_bytes(source.read_bytes())
    with h5py.File(left, "r+") as file:
        file.attrs.modify("status", np.bytes_(b"recording"))
        file.attrs.modify("content_sha256", np.bytes_(b""))

    (line,) = told(capsys, str(tmp_path))

    assert "  recording  " in line
    assert main(["verify", str(tmp_path)]) == INCOMPLETE
    assert "its recorder was killed" in capsys.readouterr().out
