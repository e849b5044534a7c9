"""A file changed after it was closed counts nowhere among many: left out, with its reason."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import pytest

from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.virtual_rig import default_rig
from analysis.target import Target
from ui.cli.exit_codes import FAILED, INCOMPLETE

Perpend = Callable[..., Any]
REASON = "was changed after it was closed; `perpend verify` says what is wrong"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a file with five repetitions of an expert."""
    path = tmp_path_factory.mktemp("whole") / "E01.h5"
    record_trial(
        "virtual:?trainee=E01&seed=3&reps=5&top=45&speed=max",
        path,
        rig=default_rig(),
        target_json=Target().to_json(),
        label=TrialLabel(person="E01"),
    )
    return path


@pytest.fixture
def folder(whole: Path, tmp_path: Path) -> Path:
    """Return a folder with the file and a copy in which one force count is another one."""
    made = tmp_path / "in"
    made.mkdir()
    shutil.copy(whole, made / "E01.h5")
    changed = Path(shutil.copy(whole, made / "changed.h5"))
    changed.chmod(0o600)
    with h5py.File(changed, "r+") as file:
        counts = file["streams/force/counts"]
        counts[500, 0] = counts[500, 0] + 1
    return made


def test_a_study_leaves_it_out(perpend: Perpend, folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"

    said = perpend("study", folder, "--out", out, "--jobs", 1)

    assert said.code == INCOMPLETE
    assert said.err == f"perpend study: left out {folder / 'changed.h5'}: {REASON}\n"
    with (out / "left_out.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.DictReader(file)) == [{"recording": "changed.h5", "reason": REASON}]
    with (out / "recordings.csv").open(encoding="utf-8", newline="") as file:
        assert [row["recording"] for row in csv.DictReader(file)] == ["E01.h5"]
    assert "changed.h5" in (out / "study.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", ["measures", "series", "c3d", "motion"])
def test_an_export_skips_it(perpend: Perpend, folder: Path, tmp_path: Path, kind: str) -> None:
    out = tmp_path / "out"

    said = perpend("export", folder, "--as", kind, "--out", out, "--table", "csv")

    assert said.code == INCOMPLETE
    assert said.err == f"perpend export: skipped {folder / 'changed.h5'}: {REASON}\n"
    texts = [path.read_text("utf-8") for path in out.rglob("*.csv")]
    assert not any("changed" in path.name for path in out.rglob("*"))
    assert not any("changed.h5" in text for text in texts)


def test_a_reference_skips_it(perpend: Perpend, folder: Path, tmp_path: Path) -> None:
    said = perpend("reference", folder, "--out", tmp_path / "r.json", "--resamples", "200")

    assert said.code == INCOMPLETE
    assert said.err == f"perpend reference: skipped {folder / 'changed.h5'}: {REASON}\n"
    assert "E01 ×5" in said.out


def test_alone_it_is_refused(perpend: Perpend, folder: Path, tmp_path: Path) -> None:
    changed, whole = folder / "changed.h5", folder / "E01.h5"

    for words in (
        ("export", changed, "--out", tmp_path / "out"),
        ("reference", changed, "--out", tmp_path / "r.json"),
        ("compare", changed, "--before", whole),
        ("compare", whole, "--before", changed),
    ):
        said = perpend(*words)

        assert said.code == FAILED
        assert said.out == ""
        assert said.err == f"perpend {words[0]}: {changed}: {REASON}\n"
