"""``perpend live`` without a port: what it hands to the screens."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from msgspec import structs

from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.transports.serial_port import PortInfo
from acquisition.virtual_rig import default_rig
from analysis.pipeline import analyse
from analysis.reference.build import build_reference
from analysis.reference.evidence import evidence_of
from analysis.reference.model import ReferenceSettings
from analysis.reference.reference_file import reference_json
from analysis.target import Target
from ui.cli.main import main
from ui.cli.session_guide import HANDS_OFF, PUSH, check_in_words, ports_that_answer
from ui.live.flow import Choice, Flow, Stage


@pytest.fixture
def guided(monkeypatch: pytest.MonkeyPatch) -> list[Flow]:
    """Return the flows that would have been shown."""
    shown: list[Flow] = []

    def show(flow: Flow) -> int:
        shown.append(flow)
        flow.close()
        return 0

    monkeypatch.setattr("ui.desktop.open_guided_window", show)
    return shown


def test_without_a_port_the_screens_begin_with_what_was_given(
    guided: list[Flow], tmp_path: Path
) -> None:
    code = main(
        ["live", "--out", str(tmp_path), "--person", "T07", "--condition", "retention",
         "--plan", "faded"]
    )  # fmt: skip

    (flow,) = guided
    assert code == 0
    assert flow.stage is Stage.CHOOSE
    assert flow.label == TrialLabel("T07", "retention")
    assert (flow.plan, flow.out_dir) == ("faded", tmp_path)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--lsl"], "--lsl needs --port"),
        (["--plan", "no_such_plan"], "no_such_plan"),
        (["--person", "Anna"], "is no code"),
    ],
)
def test_what_cannot_be_is_refused_before_a_window_opens(
    guided: list[Flow], capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    assert main(["live", *arguments]) == 1

    assert guided == []
    assert words in capsys.readouterr().err


def test_ports_with_a_rig_come_first(monkeypatch: pytest.MonkeyPatch) -> None:
    ports = [
        PortInfo("serial:/dev/a", "/dev/a", "a modem", ""),
        PortInfo("serial:/dev/b", "/dev/b", "USB", ""),
    ]
    monkeypatch.setattr("acquisition.transports.serial_port.list_ports", lambda: ports)
    answers: dict[str, dict[str, Any]] = {
        "serial:/dev/a": {"rig": None, "why_not": "nobody answers"},
        "serial:/dev/b": {"rig": "R01"},
    }
    answer: Callable[[str], dict[str, Any]] = answers.__getitem__
    monkeypatch.setattr("ui.cli.session_guide.answer_of", answer)

    assert ports_that_answer() == (
        Choice("serial:/dev/b", "rig R01 · USB"),
        Choice("serial:/dev/a", "a modem · no rig here: nobody answers"),
    )


def test_without_ports_nobody_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("acquisition.transports.serial_port.list_ports", list)

    assert ports_that_answer() == ()


def test_the_check_says_when_to_keep_off_and_when_to_push() -> None:
    said: list[str] = []

    found = list(
        check_in_words(
            "virtual:?trainee=E01&speed=max", default_rig("right"), Target(), said.append
        )
    )

    assert list(dict.fromkeys(said)) == [HANDS_OFF, PUSH]
    assert found[0].key == "self_test"
    assert len(found) > 10


def test_a_band_too_wide_to_judge_by_is_told_before_the_window_opens(
    guided: list[Flow], capsys: pytest.CaptureFixture[str], recorded: Path, tmp_path: Path
) -> None:
    evidence = evidence_of(analyse(read_recording(recorded)))
    five = replace(evidence, curves=evidence.curves * 5, measures=evidence.measures * 5)
    made = build_reference([five], ReferenceSettings(resamples=200))
    wide = structs.replace(made.bands["force_N"], limit=-1.0)
    path = tmp_path / "wide.json"
    path.write_text(
        reference_json(structs.replace(made, bands={**made.bands, "force_N": wide})), "utf-8"
    )

    code = main(["live", "--out", str(tmp_path), "--reference", str(path)])

    said = capsys.readouterr().err
    assert code == 0
    assert len(guided) == 1
    assert said.startswith(f"perpend live: {path}: The band of the force is too wide to judge by")
    assert said.count("\n") == 1
