"""``perpend study``: tables of a folder, resumed, told what was left out."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acquisition.virtual_rig.cohort import record_sitting, sittings
from analysis.study.cohort import table_names
from analysis.target import Target
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.study import FINDINGS, KINDS, PAGE

Perpend = Callable[..., Any]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two people, two days, one short repetition each."""
    made = tmp_path_factory.mktemp("class")
    for one in sittings(2, days=2, trials=1, repetitions=1):
        record_sitting(made, one, top_deg=45.0, target_json=Target().to_json())
    return made


def tables(out: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in out.iterdir() if path.is_file()}


def test_a_folder_becomes_tables(perpend: Perpend, folder: Path, tmp_path: Path) -> None:
    said = perpend("study", folder, "--out", tmp_path / "out", "--jobs", 1, "--json")

    assert said.code == DONE
    plain = json.loads(said.out)
    assert (plain["recordings"], plain["people"], plain["left_out"]) == (8, 2, 0)
    lines = (tmp_path / "out" / "repetitions.csv").read_text("utf-8").splitlines()
    assert len(lines) == 1 + 8 * 3
    assert tables(tmp_path / "out").keys() >= {
        "repetitions.csv",
        "repetitions.parquet",
        "recordings.csv",
        "withheld.parquet",
        "dictionary.csv",
        "left_out.csv",
    }


def test_the_same_files_give_the_same_bytes_however_often_and_on_how_many_cores(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    perpend("study", folder, "--out", tmp_path / "a", "--jobs", 1)
    perpend("study", folder, "--out", tmp_path / "b", "--jobs", 2)
    again = perpend("study", folder, "--out", tmp_path / "b", "--jobs", 1, "--force", "--json")

    assert tables(tmp_path / "a") == tables(tmp_path / "b")
    assert json.loads(again.out)["measured_before"] == 8


def test_the_page_has_everyone_and_harms_nobody(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    perpend("study", folder, "--out", tmp_path / "out", "--jobs", 1)

    page = (tmp_path / "out" / "study.html").read_text("utf-8")
    found = json.loads(
        (tmp_path / "out" / "findings.json").read_text("utf-8"), parse_constant=pytest.fail
    )
    pictures = page.count("<h2>Learning: ")
    assert pictures == 3
    for person in ("T21", "T22"):  # in the class, and below each picture
        assert page.count(f'<th scope="row">{person}</th>') == 1 + pictures
    assert page.index("The class") < page.index("In words") < page.index("Learning:")
    assert "<script" not in page
    assert "never used on a person" in page
    assert {one["key"] for one in found} >= {"force_mean_N", "superior_angle_mean_deg"}


def test_a_bad_file_is_left_out_and_told(perpend: Perpend, folder: Path, tmp_path: Path) -> None:
    shutil.copytree(folder, tmp_path / "in")
    (tmp_path / "in" / "bad.h5").write_bytes(b"no recording")

    said = perpend("study", tmp_path / "in", "--out", tmp_path / "out", "--jobs", 1)

    assert said.code == INCOMPLETE
    assert said.err.startswith("perpend study: left out ")
    assert said.err.count("\n") == 1
    left_out = (tmp_path / "out" / "left_out.csv").read_text("utf-8")
    assert "bad.h5,is not a recording" in left_out


def test_only_bad_files_fail(perpend: Perpend, tmp_path: Path) -> None:
    (tmp_path / "bad.h5").write_bytes(b"no recording")

    said = perpend("study", tmp_path, "--out", tmp_path / "out", "--jobs", 1)

    assert said.code == FAILED


def test_results_that_are_there_are_not_replaced_unasked(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    perpend("study", folder, "--out", tmp_path, "--jobs", 1)
    before = tables(tmp_path)

    said = perpend("study", folder, "--out", tmp_path, "--jobs", 1)

    assert said.code == FAILED
    assert "exists already" in said.err
    assert tables(tmp_path) == before


@pytest.mark.parametrize(
    "name", ["dictionary.csv", "left_out.csv", "findings.json", "withheld.parquet"]
)
def test_no_file_of_somebody_else_is_overwritten_unasked(
    perpend: Perpend, folder: Path, tmp_path: Path, name: str
) -> None:
    (tmp_path / name).write_text("mine")

    said = perpend("study", folder, "--out", tmp_path, "--jobs", 1)

    assert said.code == FAILED
    assert f"{name}: exists already" in said.err
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text("utf-8") == "mine"


def test_every_file_that_is_written_was_asked_for_before(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    perpend("study", folder, "--out", tmp_path / "out", "--jobs", 1)

    names = {path.name for path in (tmp_path / "out").iterdir()} - {"cache"}
    assert names == {*table_names(KINDS), FINDINGS, PAGE}


def test_json_holds_what_was_found(perpend: Perpend, folder: Path, tmp_path: Path) -> None:
    said = perpend("study", folder, "--out", tmp_path / "out", "--jobs", 1, "--json")

    told = json.loads(said.out, parse_constant=pytest.fail)
    assert told["findings"] == json.loads((tmp_path / "out" / "findings.json").read_text("utf-8"))
    assert len(told["findings"]) == 9


@pytest.mark.parametrize("jobs", ["0", "-1", "two"])
def test_a_number_of_jobs_that_is_none_is_told_in_words(
    perpend: Perpend, folder: Path, tmp_path: Path, jobs: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        perpend("study", folder, "--out", tmp_path / "out", "--jobs", jobs)

    assert f"{jobs!r} is not a whole number from 1 up" in capsys.readouterr().err


def test_a_folder_for_results_that_cannot_be_is_told_before_the_work(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("no folder")

    said = perpend("study", folder, "--out", tmp_path / "file", "--jobs", 1)

    assert said.code == FAILED
    assert "cannot be a folder" in said.err
    assert said.err.count("\n") == 1


def test_a_file_is_no_folder(perpend: Perpend, folder: Path, tmp_path: Path) -> None:
    said = perpend("study", folder / "T21_01.h5", "--out", tmp_path / "out")

    assert said.code == FAILED
    assert "no such folder" in said.err


def test_groups_that_are_given_are_in_the_tables_and_compared(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "groups.csv").write_text("person,group\nT21,screen\nT22,mirror\n", "utf-8")

    said = perpend(
        "study", folder, "--out", tmp_path / "out", "--jobs", 1, "--json",
        "--groups", tmp_path / "groups.csv",
    )  # fmt: skip

    plain = json.loads(said.out)
    assert plain["notices"] == [
        "Variability and learning are those of all trainees together, whatever their group."
    ]
    compared = {(one["at"], one["first"], one["second"]) for one in plain["findings"][0]["groups"]}
    assert ("last practice", "mirror", "screen") in compared
    table = (tmp_path / "out" / "repetitions.csv").read_text("utf-8")
    assert "T21,screen," in table
    assert "T22,mirror," in table
    assert "T21,T," not in table


def test_a_table_of_groups_that_is_none_is_one_line(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "groups.csv").write_text("code;arm\n", "utf-8")

    said = perpend("study", folder, "--out", tmp_path / "out", "--groups", tmp_path / "groups.csv")

    assert said.code == FAILED
    assert "has no column 'person'; the first line must be person,group" in said.err
    assert said.err.count("\n") == 1
