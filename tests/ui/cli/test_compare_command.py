"""``perpend compare``: sentences, JSON and report from recordings."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.virtual_rig import default_rig
from analysis.target import Target
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.main import main

Perpend = Callable[..., Any]
EXPERTS = ("E01", "E02", "E03", "E04")


def record(folder: Path, person: str, seed: int, repetitions: int) -> Path:
    path = folder / f"{person}_{seed}.h5"
    record_trial(
        f"virtual:?trainee={person}&seed={seed}&reps={repetitions}&top=60&speed=max",
        path,
        rig=default_rig(),
        target_json=Target().to_json(),
        label=TrialLabel(person=person),
    )
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with two trials of one who slips upward, and a reference."""
    folder = tmp_path_factory.mktemp("compared")
    experts = [record(folder, person, 3, 5) for person in EXPERTS]
    record(folder, "T01", 1, 5)
    record(folder, "T01", 2, 5)
    out = folder / "reference.json"
    assert main(["reference", *map(str, experts), "--out", str(out), "--resamples", "200"]) == 0
    return folder


def words(text: str) -> str:
    return " ".join(text.split())


def test_a_trainee_beside_experts_is_told_where_and_by_how_much(
    perpend: Perpend, folder: Path
) -> None:
    said = perpend("compare", folder / "T01_1.h5", "--reference", folder / "reference.json")

    told = words(said.out)
    assert said.code == DONE
    assert "On the raise, from" in told
    assert "the mean is further upward than the band: by up to" in told
    assert "(5 of 5 repetitions leave it there)" in told
    assert "one person is no sample of people" in told
    assert told.index("• ") < told.index("beside the experts")  # sentences before numbers


def test_json_has_the_same_and_no_number_that_is_none(perpend: Perpend, folder: Path) -> None:
    said = perpend(
        "compare", folder / "T01_1.h5", "--reference", folder / "reference.json", "--json"
    )

    found = json.loads(said.out, parse_constant=pytest.fail)
    superior = next(one for one in found["against"] if one["quantity"] == "superior_angle_deg")
    assert superior["excursions"][0]["above"] is True
    assert superior["inside_percent"] < 50.0
    assert found["after"]["repetitions"] == 5
    assert found["after"]["recordings"][0]["sha256"]
    assert found["reference"]["experts"] == list(EXPERTS)


def test_after_beside_before_needs_no_reference(perpend: Perpend, folder: Path) -> None:
    said = perpend("compare", folder / "T01_1.h5", "--before", folder / "T01_2.h5")

    told = words(said.out)
    assert said.code == DONE
    assert "Where along the arc do these two occasions differ?" in told
    assert "after beside before" in told
    assert "nothing here says that T01 has changed" in told
    assert "changed by" not in told


def test_an_unchanged_person_is_not_said_to_have_changed_however_often_it_is_asked(
    perpend: Perpend, folder: Path
) -> None:
    """Five repetitions of the same invented expert, trial by trial."""
    trials = [record(folder, "E01", seed, 5) for seed in (101, 102, 103)]
    for before, after in pairwise(trials):
        said = perpend("compare", after, "--before", before, "--json")

        found = json.loads(said.out)
        assert found["changes_rest_on"]["one_sitting"] is True
        assert all(one["difference"] is None for one in found["changes"])
        assert not any(one["told"] for one in found["changes"])


def test_a_copy_counts_once_or_not_at_all(perpend: Perpend, folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.h5"
    shutil.copy(folder / "T01_1.h5", copy)

    twice = perpend("compare", folder / "T01_1.h5", copy, "--before", folder / "T01_2.h5")
    both = perpend("compare", folder / "T01_1.h5", "--before", copy)

    assert twice.code == both.code == FAILED
    assert "copy.h5 are the same recording; name it once" in twice.err
    assert "T01_1.h5 are the same recording, before and after" in both.err


def test_an_expert_beside_the_own_reference_is_told_so(perpend: Perpend, folder: Path) -> None:
    said = perpend("compare", folder / "E01_3.h5", "--reference", folder / "reference.json")

    assert "E01 is one of the experts of this reference" in words(said.out)
    assert "The reference was made of what is compared: E01_3.h5." in words(said.out)


def test_a_reference_for_another_target_is_refused(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    target = tmp_path / "other.toml"
    target.write_text("glide_azimuth_deg = 50.0\n", "utf-8")

    said = perpend(
        "compare", folder / "T01_1.h5", "--reference", folder / "reference.json",
        "--target", target,
    )  # fmt: skip

    assert said.code == FAILED
    assert "the reference was made for another target" in said.err
    assert said.err.count("\n") == 1


def test_the_report_is_whole_harmless_and_always_the_same(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    call = (
        "compare", folder / "T01_1.h5", "--before", folder / "T01_2.h5",
        "--reference", folder / "reference.json",
    )  # fmt: skip
    for name in ("a.html", "b.html"):
        assert perpend(*call, "--out", tmp_path / name).code == DONE

    page = (tmp_path / "a.html").read_text("utf-8")
    assert page == (tmp_path / "b.html").read_text("utf-8")
    assert page.count("<svg") == 4
    assert "<script" not in page
    assert "never used on a person" in page
    assert page.index("In words") < page.index("Along the arc") < page.index("Beside the experts")
    refused = perpend(*call, "--out", tmp_path / "a.html")
    assert refused.code == FAILED
    assert "exists already" in refused.err


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ((), "nothing to compare with: name a reference, or what was before"),
        (("--reference", "none.json"), "none.json"),
        (("--before", "none.h5"), "none.h5"),
    ],
)
def test_what_cannot_be_compared_is_one_line(
    perpend: Perpend, folder: Path, extra: tuple[str, ...], said: str
) -> None:
    answer = perpend("compare", folder / "T01_1.h5", *extra)

    assert answer.code == FAILED
    assert said in answer.err
    assert len(answer.err.strip().splitlines()) == 1


def test_two_recordings_of_one_rig_are_test_and_retest_and_told_so(
    perpend: Perpend, folder: Path
) -> None:
    files = (folder / "T01_1.h5", "--agree-with", folder / "T01_2.h5")

    said, plain = perpend("compare", *files), perpend("compare", *files, "--json")

    told = words(said.out)
    assert said.code == plain.code == DONE
    assert "Test and retest" in told
    assert "how well a person repeats a measure" in told
    assert "95 of 100 lie between the limits" in told
    assert "the limits hold for these people only" in told
    assert "+0 (" not in told
    found = json.loads(plain.out)["agreement"]
    first = found["measures"][0]
    assert (found["same_rig"], found["same_time"]) == (True, False)
    assert first["key"] == "azimuth_error_mean_deg"
    assert first["agreement"]["lower"]["value"] < first["agreement"]["upper"]["value"]
    assert len(first["points"]) == 5


def test_a_bad_recording_takes_its_partner_along_and_shifts_no_other(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    bad = tmp_path / "bad.h5"
    bad.write_bytes(b"no recording")

    said = perpend(
        "compare", bad, folder / "T01_1.h5", folder / "E01_3.h5",
        "--agree-with", folder / "E02_3.h5", folder / "T01_2.h5", bad, "--json",
    )  # fmt: skip

    assert said.code == INCOMPLETE
    assert said.err.count("perpend compare: skipped") == 2
    assert json.loads(said.out)["agreement"]["recordings"] == [["T01_1.h5", "T01_2.h5"]]


def test_lists_that_make_no_pairs_are_refused_before_the_work(
    perpend: Perpend, folder: Path
) -> None:
    said = perpend(
        "compare", folder / "T01_1.h5", "--agree-with", folder / "T01_2.h5", folder / "E01_3.h5"
    )

    assert said.code == FAILED
    assert "1 recording and 2 after --agree-with make no pairs" in said.err


def test_agreement_has_a_page_with_a_picture_of_each_measure(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    call = ("compare", folder / "T01_1.h5", "--agree-with", folder / "T01_2.h5")
    for name in ("a.html", "b.html"):
        assert perpend(*call, "--out", tmp_path / name).code == DONE

    page = (tmp_path / "a.html").read_text("utf-8")
    assert page == (tmp_path / "b.html").read_text("utf-8")
    assert page.count("<svg") == 8  # the hand was on all the while: no scatter, no picture
    assert "<script" not in page
    assert "never used on a person" in page
    assert page.index("In words") < page.index("Differences against") < page.index("Bias and")
    assert perpend(*call, "--out", tmp_path / "a.html").code == FAILED


def test_agreement_stands_alone(perpend: Perpend, folder: Path) -> None:
    said = perpend(
        "compare", folder / "T01_1.h5", "--agree-with", folder / "T01_2.h5", "--before",
        folder / "T01_2.h5",
    )  # fmt: skip

    assert said.code == FAILED
    assert "--agree-with stands alone" in said.err


@pytest.mark.parametrize("seed", ["-1", "4294967296", "x"])
def test_a_seed_that_is_none_is_told(
    perpend: Perpend, folder: Path, seed: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        perpend("compare", folder / "T01_1.h5", "--before", folder / "T01_2.h5", "--seed", seed)

    assert f"{seed!r} is not a whole number from 0 to 4294967295" in capsys.readouterr().err


def test_a_report_that_cannot_be_written_is_told_before_the_work(
    perpend: Perpend, folder: Path, tmp_path: Path
) -> None:
    said = perpend(
        "compare", folder / "T01_1.h5", "--before", folder / "T01_2.h5", "--out", tmp_path,
        "--force",
    )  # fmt: skip

    assert said.code == FAILED
    assert said.out == ""
    assert "is a folder; name a file" in said.err
