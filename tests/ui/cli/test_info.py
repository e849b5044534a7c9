"""``perpend info``: what is in a recording."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acquisition.clock_fit import SyncExchange, fit_segments
from acquisition.recording.reader import content_sha256
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.info import _clock, facts_of
from ui.cli.tables import facts_table, print_all

Perpend = Callable[..., Any]


def test_it_tells_what_is_in_a_file(perpend: Perpend, recorded: Path) -> None:
    said = perpend("info", recorded, "--json")

    facts = json.loads(said.out)
    assert said.code == DONE
    assert facts["status"] == "complete"
    assert facts["sha256"] == content_sha256(recorded)
    assert facts["target"]["glide_azimuth_deg"] == 30.0
    assert facts["streams"]["force"]["channels"] == ["fx", "fy", "fz"]


def test_it_tells_people_in_words(perpend: Perpend, recorded: Path) -> None:
    said = perpend("info", recorded)

    assert "T01" in said.out
    assert "nothing lost" in said.out
    assert "1000 Hz" in said.out


def test_the_rig_s_clock_is_told_for_each_stretch(
    recorded: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    exchanges = [
        SyncExchange(
            second * 10**9, second * 1_000_080, second * 1_000_080, second * 10**9, segment
        )
        for segment, answers in ((0, 20), (2, 3))
        for second in range(1, answers + 1)
    ]
    clocks = [_clock(one) for one in fit_segments(exchanges)]

    print_all([facts_table({**facts_of(recorded), "clocks": clocks})])

    said = " ".join(capsys.readouterr().out.split())
    assert [(one["segment"], one["answers"], one["drift_ppm"]) for one in clocks] == [
        (0, 20, pytest.approx(-80.0)),
        (2, 3, None),
    ]
    assert (
        "80.0 ppm too fast against ours, residual 0.000 ms, known to 0.000 ms (20 answers)" in said
    )
    assert "rig clock 1 " in said
    assert "rig clock 3 drift not told by so few, residual 0.000 ms" in said


def test_text_of_a_recording_is_shown_as_it_is(perpend: Perpend, recorded: Path) -> None:
    """Square brackets would be style to the terminal library."""
    assert "[bold]<script>" in perpend("info", recorded).out


def test_an_empty_file_and_a_foreign_file_are_refused_and_stay(
    perpend: Perpend, tmp_path: Path
) -> None:
    for name, content in (("empty.h5", b""), ("text.h5", b"not a recording\n" * 100)):
        path = tmp_path / name
        path.write_bytes(content)

        said = perpend("info", path)

        assert said.code == FAILED
        assert name in said.err
        assert path.read_bytes() == content


def test_a_bad_file_does_not_hide_the_good_one(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    bad = tmp_path / "bad.h5"
    bad.touch()

    said = perpend("info", bad, recorded, "--json")

    assert said.code == INCOMPLETE
    assert [facts["file"] for facts in json.loads(said.out)] == [str(recorded)]
