"""Result sheets: the same bytes for the same outcome, a new version for another, none changed."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.target import Target
from ui.errors import UserError
from ui.live.practice.assessment import Assessment, assess_trial
from ui.live.practice.checklist import Checklist, Item, Tick, load_checklist
from ui.report.result_sheet import build_sheet, store_sheet


@pytest.fixture(scope="module")
def outcome(recorded: Path) -> Assessment:
    """Return the outcome of a repetition whose hand slips upward, nothing ticked."""
    return assess_trial(analyse(read_recording(recorded)), load_checklist())


def ticked(outcome: Assessment, **ticks: Tick) -> Assessment:
    return replace(outcome, checklist=outcome.checklist.ticked(ticks))


def test_the_same_outcome_gives_the_same_bytes(outcome: Assessment) -> None:
    assert build_sheet(outcome) == build_sheet(outcome)


def test_it_says_what_was_measured_ticked_and_what_it_rests_on(outcome: Assessment) -> None:
    page = build_sheet(ticked(outcome, stop_agreed=Tick.NO))

    assert "✗ not met" in page
    assert "☒ no</td><td>Agrees on a stop signal" in page
    assert "☐ open" in page
    for part in (outcome.trial.recording["sha256"], outcome.parameters_sha256, "SHA-256"):
        assert part in page
    assert "never used on a person" in page
    assert "undecided: nearer to its limit than twice its standard uncertainty" in page


def test_it_is_one_quiet_page(outcome: Assessment) -> None:
    """No scripts, no network, small, and text of a person cannot change it."""
    odd = Checklist(
        name="x", title="<script>", item=(Item(key="a", text="<b>", remark="<i>"),), examiner="E02"
    )
    page = build_sheet(replace(outcome, checklist=odd))

    assert "<script>" not in page
    assert "<b>" not in page
    assert "http" not in page.replace("http-equiv", "")
    assert len(page) < 60_000
    assert "size: A4" in page


def test_a_new_answer_is_a_new_version_that_names_the_one_before(
    outcome: Assessment, tmp_path: Path
) -> None:
    first = store_sheet(outcome, tmp_path, "trial")
    before = first.path.read_bytes()

    second = store_sheet(ticked(outcome, hand_below=Tick.YES), tmp_path, "trial")

    assert (first.path.name, second.path.name) == ("trial_result_1.html", "trial_result_2.html")
    assert first.path.read_bytes() == before
    assert hashlib.sha256(before).hexdigest() in second.path.read_text(encoding="utf-8")
    assert "version 2" in second.path.read_text(encoding="utf-8")


def test_the_same_again_writes_nothing(outcome: Assessment, tmp_path: Path) -> None:
    first = store_sheet(outcome, tmp_path, "trial")

    again = store_sheet(outcome, tmp_path, "trial")

    assert (again.path, again.number, again.fresh) == (first.path, 1, False)
    assert len(list(tmp_path.iterdir())) == 1


def test_another_limit_is_another_version(outcome: Assessment, tmp_path: Path) -> None:
    store_sheet(outcome, tmp_path, "trial")
    other = assess_trial(
        replace(outcome.trial, target=Target(superior_limit_deg=30.0)), outcome.checklist
    )

    assert store_sheet(other, tmp_path, "trial").number == 2


def test_a_sheet_that_cannot_be_read_stays_where_it_is(outcome: Assessment, tmp_path: Path) -> None:
    odd = tmp_path / "trial_result_1.html"
    odd.write_bytes(b"\xff\xfe")

    with pytest.raises(UserError, match="cannot be read as a result sheet"):
        store_sheet(outcome, tmp_path, "trial")

    assert odd.read_bytes() == b"\xff\xfe"


def test_another_recording_of_the_same_name_does_not_go_on_with_these_sheets(
    outcome: Assessment, tmp_path: Path
) -> None:
    store_sheet(outcome, tmp_path, "trial")
    recording = dict(outcome.trial.recording) | {"uuid": "00000000-0000-4000-8000-000000000000"}
    other = replace(outcome, trial=replace(outcome.trial, recording=recording))

    with pytest.raises(UserError, match="is of another recording; name another folder"):
        store_sheet(other, tmp_path, "trial")

    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize("which", [1, 2])
def test_a_sheet_that_was_changed_does_not_pass(
    outcome: Assessment, tmp_path: Path, which: int
) -> None:
    store_sheet(outcome, tmp_path, "T01")
    ticked = outcome.checklist.ticked({"stop_agreed": Tick.YES})
    later = replace(outcome, checklist=ticked)
    store_sheet(later, tmp_path, "T01")
    path = tmp_path / f"T01_result_{which}.html"
    path.write_text(path.read_text(encoding="utf-8").replace("not met", "met", 1), encoding="utf-8")

    with pytest.raises(UserError, match="was changed after it was written"):
        store_sheet(later, tmp_path, "T01")

    assert not (tmp_path / "T01_result_3.html").exists()


def test_a_sheet_is_its_owner_s_only(outcome: Assessment, tmp_path: Path) -> None:
    assert store_sheet(outcome, tmp_path, "T01").path.stat().st_mode & 0o077 == 0
