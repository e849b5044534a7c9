from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.virtual_rig import default_rig
from analysis.reference.reference_file import load_reference
from analysis.target import Target

QUICK = ("--resamples", "200")


@pytest.fixture(scope="module")
def experts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with five repetitions of an expert."""
    folder = tmp_path_factory.mktemp("experts")
    record_trial(
        "virtual:?trainee=E01&seed=3&reps=5&speed=max",
        folder / "E01.h5",
        rig=default_rig(),
        target_json=Target().to_json(),
        label=TrialLabel(person="E01"),
    )
    return folder


def test_recordings_become_a_reference_with_its_picture(
    perpend: Callable[..., Any], experts: Path, tmp_path: Path
) -> None:
    out = tmp_path / "reference.json"

    said = perpend("reference", experts, "--out", out, *QUICK)

    assert said.code == 0
    assert "says nothing about other experts" in said.out.replace("\n", " ").replace("  ", " ")
    assert load_reference(out).experts[0].repetitions == 5
    picture = out.with_suffix(".svg").read_text(encoding="utf-8")
    assert picture.startswith("<svg")
    assert "Reference of E01" in picture


def test_the_same_files_and_seed_give_the_same_bytes(
    perpend: Callable[..., Any], experts: Path, tmp_path: Path
) -> None:
    one, other, seeded = (tmp_path / f"{name}.json" for name in "abc")

    perpend("reference", experts, "--out", one, *QUICK)
    perpend("reference", experts, "--out", other, *QUICK)
    perpend("reference", experts, "--out", seeded, *QUICK, "--seed", "5")

    assert one.read_bytes() == other.read_bytes() != seeded.read_bytes()
    assert one.with_suffix(".svg").read_bytes() == other.with_suffix(".svg").read_bytes()


def test_json_is_what_is_in_the_file(
    perpend: Callable[..., Any], experts: Path, tmp_path: Path
) -> None:
    out = tmp_path / "reference.json"

    said = perpend("reference", experts, "--out", out, *QUICK, "--json")

    assert json.loads(said.out) == json.loads(out.read_text(encoding="utf-8"))


def test_nothing_is_replaced_unasked(
    perpend: Callable[..., Any], experts: Path, tmp_path: Path
) -> None:
    out = tmp_path / "reference.json"
    out.with_suffix(".svg").write_text("mine", encoding="utf-8")

    said = perpend("reference", experts, "--out", out, *QUICK)

    assert said.code == 1
    assert "reference.svg: exists already" in said.err
    assert not out.exists()
    assert perpend("reference", experts, "--out", out, *QUICK, "--force").code == 0


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--level", "40"), "--level: 40 % will not do; between 50 % and 100 %"),
        (("--level", "101"), "--level: 101 % will not do; between 50 % and 100 %"),
        (("--level", "0"), "--level: 0 % will not do"),
        (("--level", "nan"), "--level: nan % will not do"),
        (("--resamples", "3"), "Expected `int` >= 200"),
        (("--out", "nowhere/r.json"), "no such folder"),
    ],
)
def test_what_makes_no_band_is_refused_in_a_line(
    perpend: Callable[..., Any],
    experts: Path,
    tmp_path: Path,
    words: tuple[str, ...],
    message: str,
) -> None:
    said = perpend("reference", experts, "--out", tmp_path / "r.json", *words)

    assert said.code == 1
    assert message in said.err
    assert said.err.count("\n") == 1


def test_too_few_repetitions_are_refused_and_nothing_is_written(
    perpend: Callable[..., Any], recorded: Path, tmp_path: Path
) -> None:
    said = perpend("reference", recorded, "--out", tmp_path / "r.json")

    assert said.code == 1
    assert "too few usable repetitions: T01 has 1; at least 5" in said.err
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(scope="module")
def four(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with four people of whom one aims elsewhere, one in two recordings."""
    folder = tmp_path_factory.mktemp("four")
    for file, person, trainee in (
        ("a", "E11", "E01"), ("b", "E11", "E01"), ("c", "E12", "E01"), ("d", "E13", "E01"),
        ("e", "E14", "T02"),
    ):  # fmt: skip
        record_trial(
            f"virtual:?trainee={trainee}&seed={ord(file)}&reps=5&top=45&speed=max",
            folder / f"{file}.h5",
            rig=default_rig(),
            target_json=Target().to_json(),
            label=TrialLabel(person=person),
        )
    return folder


def test_who_stands_apart_is_named_and_a_band_too_wide_told(
    perpend: Callable[..., Any], four: Path, tmp_path: Path
) -> None:
    out = tmp_path / "r.json"

    said = perpend("reference", four, "--out", out, *QUICK)

    told = " ".join(said.out.split())
    assert said.code == 0
    assert "The band of the azimuth error is too wide to judge by: ± " in told
    assert "E14 stands apart from the other experts: less far outward by " in told
    assert "pooled: E11, 10 repetitions of 2 recordings: what differs between them" in told
    lines = [line for line in said.out.splitlines() if str(tmp_path) not in line]
    assert max(map(len, lines)) <= 80
    assert "…" not in said.out
    page = tmp_path / "c.html"
    beside = perpend("compare", four / "c.h5", "--reference", out, "--out", page)
    words = " ".join(beside.out.split())
    assert "the azimuth error is not judged: the experts’ band is too wide to judge by" in words
    assert "E14 stands apart from the other experts" in words
    assert "of the azimuth error lies in" not in words
    report = page.read_text(encoding="utf-8")
    assert "The band of the azimuth error is too wide to judge by: ± " in report
    assert "E14 stands apart from the other experts: less far outward by " in report
    for picture in (report, out.with_suffix(".svg").read_text(encoding="utf-8")):
        assert "azimuth error: raise (band too wide to judge by)" in picture
        assert "elevation speed: raise (band" not in picture
