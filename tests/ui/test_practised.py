"""Practice and stop drills reach table and report in words."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

from acquisition.recording.model import Event
from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.practice import PRACTICE_EVENT, PracticeEvent, Practised
from analysis.stop_drill import STOP_EVENT
from analysis.trial import Trial
from ui.cli.tables import trial_table
from ui.practised import drill_lines, practised
from ui.report import build_report


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    """Return a repetition that followed a plan and did not count, and was called to stop."""
    recording = read_recording(recorded)
    began_ns = int(recording.streams["force"].arrival_ns[0])
    plan = {
        "plan": "faded", "plan_sha256": "abcdef0123" * 6, "block": 2,
        "block_name": "<b>Fading</b>", "repetition": 1, "number": 5, "feedback": "on_request",
        "of_blocks": 2, "of_repetitions": 4,
    }  # fmt: skip
    armed = PracticeEvent(what=Practised.ARMED, **plan)  # type: ignore[arg-type]  # by name
    again = PracticeEvent(what=Practised.AGAIN, reason="a visitor", **plan)  # type: ignore[arg-type]  # by name
    late_ns = int(recording.streams["force"].arrival_ns[-1])
    middle = len(recording.streams["force"].arrival_ns) // 3
    events = (
        Event(began_ns, 0, PRACTICE_EVENT, armed.to_text()),
        Event(int(recording.streams["force"].arrival_ns[middle]), 0, STOP_EVENT, "ease off"),
        Event(late_ns, 0, PRACTICE_EVENT, again.to_text()),
    )
    return analyse(replace(recording, events=events))


def test_the_condition_is_said_in_a_line_and_why_it_does_not_count(trial: Trial) -> None:
    assert practised(trial) == (
        (
            "repetition 1: plan faded (abcdef01), block 2, <b>Fading</b>: "
            "feedback on request, picture seen 0 % of the time"
        ),
        "repetition 1 does not count: a visitor",
    )


def test_a_call_to_stop_is_said_with_what_is_not_known(trial: Trial) -> None:
    (line,) = drill_lines(trial.stop_drills)

    assert line.startswith("called at ")
    assert "hand off: — (not within 5 s of the call)" in line
    assert "peak force while easing: 4" in line


def test_it_stands_in_the_table(trial: Trial) -> None:
    console = Console(width=200, file=StringIO())
    with console.capture() as captured:
        console.print(trial_table(trial))

    text = captured.get()
    assert "plan faded (abcdef01)" in text
    assert "stop called at " in text


def test_it_stands_in_the_report_and_cannot_change_it(trial: Trial) -> None:
    page = build_report(trial)

    assert "&lt;b&gt;Fading&lt;/b&gt;" in page
    assert "<h2>Called to stop</h2>" in page


def test_without_a_plan_the_report_says_nothing_of_it(recorded: Path) -> None:
    plain = analyse(read_recording(recorded))

    assert practised(plain) == ()
    assert "<h2>Practice</h2>" not in build_report(plain)
