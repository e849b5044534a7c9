"""The report: one file, complete, harmless, always the same."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from markupsafe import escape

from acquisition.recording.reader import read_recording
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.pipeline import analyse
from analysis.trial import PhaseName, QualityFinding, Severity, Trial
from ui.report import build_report
from ui.report.look import LOWER, RAISE

MAX_BYTES = 2_000_000
EMPTY_ELEMENTS = {"meta", "br", "hr", "img", "link", "input"}


class Page(HTMLParser):
    """Reads a page strictly enough to see what does not fit."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: Counter[str] = Counter()
        self.ids: Counter[str] = Counter()
        self.outside: list[str] = []
        self.text = ""
        self._open: list[str] = []
        self.feed(text)
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements[tag] += 1
        for name, value in attrs:
            if name == "id" and value:
                self.ids[value] += 1
            if name in {"src", "href", "xlink:href"} and not (value or "").startswith("#"):
                self.outside.append(value or "")
        if tag not in EMPTY_ELEMENTS:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in EMPTY_ELEMENTS:
            self._open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


@pytest.fixture(scope="module")
def page(trial: Trial) -> str:
    return build_report(trial)


def words(page: str) -> str:
    """Return the text of a page, spaces joined."""
    return " ".join(Page(page).text.split())


def test_data_quality_comes_before_any_result(page: str) -> None:
    headings = ["Can the data be trusted?", "What happened", "Where the push went", "Along the arc",
                "Step by step along the arc", "Over time", "Measures",
                "How it was measured", "Cautions"]  # fmt: skip

    assert re.findall(r"<h2>(.*?)</h2>", page) == headings


def test_it_needs_nothing_from_outside_and_runs_nothing(page: str) -> None:
    read = Page(page)

    assert read.elements["script"] == read.elements["link"] == read.elements["img"] == 0
    assert read.outside == []
    assert "default-src 'none'" in page
    assert "@import" not in page
    assert "url(http" not in page


def test_it_is_well_formed_and_no_name_is_given_twice(page: str) -> None:
    assert [name for name, count in Page(page).ids.items() if count > 1] == []


def test_text_from_a_recording_cannot_become_markup(page: str, trial: Trial) -> None:
    assert "<script>alert(1)</script>" in trial.recording["note"]
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_nothing_that_a_rig_says_of_itself_can_become_markup(trial: Trial) -> None:
    bad = "<img src=x onerror=alert(1)>"
    facts = {**trial.recording, "firmware": bad, "person": bad, "condition": bad, "file": bad}
    finding = QualityFinding("key", Severity.WARNING, bad, bad, bad)

    page = build_report(replace(trial, recording=facts, quality=(finding,)))

    assert Page(page).elements["img"] == 0
    assert page.count("&lt;img") >= 6


def test_the_same_trial_gives_the_same_bytes(trial: Trial, page: str) -> None:
    """Thrice: the layout of figures differs in its last digits now and then."""
    assert [build_report(trial) == page for _ in range(3)] == [True] * 3


def test_it_tells_what_to_change_first_and_where(page: str) -> None:
    text = words(page)

    assert "Change first: Your hand slips upward" in text
    assert re.search(r"repetition 1: from \d+° to \d+° on the way (up|down)", text)


def test_each_criterion_has_its_verdict_its_number_and_its_limit(page: str) -> None:
    text = words(page)

    assert re.search(r"upward push.{1,60}at most \+2° ✗ not met \+\d+\.\d°", text)
    assert re.search(r"hold.{1,60}until the arm is down ✓ met \d+ %", text)
    for label in ("speed", "direction", "force", "steadiness"):
        assert re.search(rf"{label} .{{1,80}} (✓ met|✗ not met|\? undecided) \d", text)


def test_every_measure_is_in_the_table_and_in_the_dictionary_with_its_unit(page: str) -> None:
    measures = [(one.label, one.unit, one.key, one.meaning) for one in PHASE_MEASURES]
    measures += [(one.label, one.unit, one.key, one.meaning) for one in REPETITION_MEASURES]

    for label, unit, key, meaning in measures:
        assert f"<td>{unit}</td><td><code>{key}</code></td><td>{escape(meaning)}" in page
        assert page.count(f"{escape(label)}</t") >= 2


def test_a_chief_measure_stands_with_its_interval(page: str, trial: Trial) -> None:
    movement = trial.repetitions[0].phases[PhaseName.MOVEMENT]
    low, high = movement.intervals["force_mean_N"]

    assert f"<small>{low:.1f} to {high:.1f}</small>" in page
    assert "95 % interval" in words(page)


def test_why_a_chief_measure_has_no_interval_is_said(page: str, trial: Trial) -> None:
    movement = trial.repetitions[0].phases[PhaseName.MOVEMENT]
    reason = movement.interval_reasons["hold_coverage_percent"]

    (note,) = re.findall(rf"No interval in some phases: ([^:]*): {reason}", words(page))

    assert "hold_coverage_percent" in note.split(", ")


def test_a_missing_value_is_a_dash_with_a_reason(page: str) -> None:
    assert "— contact_shift_mm: a three-axis cell cannot tell where the hand is." in words(page)


def test_it_names_its_data_its_parameters_its_versions_and_its_cautions(
    page: str, trial: Trial
) -> None:
    text = words(page)

    assert trial.recording["sha256"] in text
    assert trial.recording["calibrated_on"] in text
    for name in trial.settings:
        assert name in text
    for name in ("perpend ", "numpy ", "scipy ", "vqf "):
        assert re.search(rf"{name}\d+\.\d+", text)
    for caution in ("not a medical device", "never used on a person", "licensed practice",
                    "rules of your school"):  # fmt: skip
        assert caution in text


def test_raise_and_lower_differ_by_more_than_colour(page: str) -> None:
    along_the_arc = re.findall(r"<svg.*?</svg>", page, re.DOTALL)[1]

    raised, lowered = (
        re.findall(f'style="([^"]*stroke: {color}[^"]*)"', along_the_arc)
        for color in (RAISE, LOWER)
    )

    assert raised
    assert lowered
    assert not any("stroke-dasharray" in style for style in raised)
    assert all("stroke-dasharray" in style for style in lowered)


def test_a_concern_stands_at_the_top_with_what_to_do(trial: Trial) -> None:
    concern = QualityFinding("lost_samples", Severity.WARNING, "7 of 9", "0", "Look at the cable.")

    text = words(build_report(replace(trial, quality=(concern,))))

    assert "Look at this first: 1 of 1 checks is outside" in text
    assert "warning: lost samples: 7 of 9 (limit 0). Look at the cable." in text


def test_without_repetitions_it_says_so_and_shows_the_course(trial: Trial) -> None:
    page = build_report(replace(trial, repetitions=()))

    assert "No repetition was found: the arm never left home and passed 30°." in words(page)
    headings = re.findall(r"<h2>(.*?)</h2>", page)
    assert "Over time" in headings
    assert not {"Where the push went", "Along the arc", "Measures"} & set(headings)


def test_an_unfinished_repetition_is_called_so(trial: Trial) -> None:
    (repetition,) = trial.repetitions
    cut = replace(repetition, spans=replace(repetition.spans, complete=False))

    assert "1 (unfinished)" in words(build_report(replace(trial, repetitions=(cut,))))


def test_a_long_session_stays_below_two_megabytes(trial: Trial) -> None:
    many = tuple(replace(trial.repetitions[0], number=number) for number in range(1, 61))

    page = build_report(replace(trial, repetitions=many))

    assert len(page.encode()) < MAX_BYTES
    assert "repetition 60" in page
