"""The report: one file, complete, harmless, always the same."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from acquisition.recording.reader import read_recording
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.pipeline import analyse
from analysis.trial import Trial
from ui.report import build_report

MAX_BYTES = 2_000_000


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


@pytest.fixture(scope="module")
def page(trial: Trial) -> str:
    return build_report(trial)


def test_data_quality_comes_before_any_result(page: str) -> None:
    assert page.index("Can the data be trusted?") < page.index("What happened")
    assert page.index("What happened") < page.index("Measures")


def test_it_needs_nothing_from_outside(page: str) -> None:
    assert "<script" not in page
    assert not re.search(r"(src|href)=[\"']https?:", page)
    assert "@import" not in page
    assert len(page.encode()) < MAX_BYTES


def test_text_from_a_recording_cannot_become_markup(page: str) -> None:
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_the_same_trial_gives_the_same_bytes(trial: Trial, page: str) -> None:
    assert build_report(trial) == page


def test_every_measure_is_in_the_table_and_in_the_dictionary(page: str) -> None:
    keys = [one.key for one in PHASE_MEASURES] + [one.key for one in REPETITION_MEASURES]

    assert [key for key in keys if f"<code>{key}</code>" not in page] == []


def test_it_names_its_data_and_cautions(page: str, trial: Trial) -> None:
    assert trial.recording["sha256"] in page
    assert "never used on a person" in page
    assert "licensed practice" in page


def test_it_has_the_pictures(page: str) -> None:
    assert page.count("<svg") == 4  # one map, two along the arc, one over time
    assert "Where the push went" in page


def test_without_repetitions_it_says_so(trial: Trial) -> None:
    page = build_report(replace(trial, repetitions=()))

    assert "No repetition was found" in page
