"""``perpend record``: names, losses, and what is said while and after."""

from __future__ import annotations

import json
import re
import signal
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rich.progress import Progress

from acquisition import virtual_rig
from acquisition.record import RecordOutcome, RecordProgress
from acquisition.recording.model import LinkCounts
from acquisition.recording.reader import read_recording
from acquisition.session import SessionThread
from analysis.target import Target
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE, INTERRUPTED
from ui.cli.record import progress_line, said

Perpend = Callable[..., Any]
EXPERT = "virtual:?trainee=E01&seed=1&speed=max"


def test_what_came_out_of_order_is_told_apart_from_what_the_line_lost() -> None:
    counts = LinkCounts(lost_samples=20, reordered_samples=30)

    told = said(RecordOutcome(Path("a.h5"), "complete", counts, 9.0, interrupted=False))

    assert told == "9.0 s, 50 samples lost, 30 of them as they came out of order"


def test_a_stream_that_fell_silent_is_told_before_what_was_lost() -> None:
    outcome = RecordOutcome(
        Path("a.h5"), "complete", LinkCounts(), 9.0, interrupted=False, silent=("no force",)
    )

    assert said(outcome) == "9.0 s, no force, nothing else lost"


def test_a_converter_that_dies_makes_the_recording_incomplete(
    perpend: Perpend, tmp_path: Path
) -> None:
    port = f"{EXPERT}&faults=converter:4"

    told = perpend("record", "--port", port, "--seconds", 8, "--out", tmp_path / "a.h5")
    verified = perpend("verify", tmp_path / "a.h5")

    assert told.code == INCOMPLETE
    assert "nothing comes of stream 'force' while the rig goes on" in told.err
    assert verified.code == INCOMPLETE
    assert "stream 'force' was silent for the last 4.0 s" in verified.out


def test_a_name_is_made_of_time_and_code_and_the_file_is_read_back(
    perpend: Perpend, tmp_path: Path
) -> None:
    said = perpend(
        "record", "--port", EXPERT, "--seconds", 3, "--out", tmp_path,
        "--person", "E01", "--condition", "retention", "--note", "calm",
    )  # fmt: skip

    (path,) = tmp_path.rglob("*.h5")
    recording = read_recording(path)
    label = recording.label
    assert said.code == DONE
    assert said.out.strip() == str(path)
    assert path.parent == tmp_path / "E01" / recording.started_utc[:10]
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert re.fullmatch(r"\d{8}T\d{6}Z_E01_[0-9a-f]{8}\.h5", path.name)
    assert said.err == "saved and checked: 3.0 s, nothing lost\n"
    assert (label.person, label.condition, label.note) == ("E01", "retention", "calm")


def test_it_never_overwrites(perpend: Perpend, tmp_path: Path) -> None:
    taken = tmp_path / "mine.h5"
    taken.write_text("precious")

    said = perpend("record", "--port", EXPERT, "--seconds", 1, "--out", taken)

    assert said.code == FAILED
    assert "mine.h5" in said.err
    assert taken.read_text() == "precious"


def test_lost_samples_end_in_their_own_exit_code(perpend: Perpend, tmp_path: Path) -> None:
    port = f"{EXPERT}&faults=loss:0.05"

    said = perpend("record", "--port", port, "--seconds", 3, "--out", tmp_path, "--json")

    plain = json.loads(said.out)
    assert said.code == INCOMPLETE
    assert not plain["whole"]
    assert f"{plain['link']['lost_samples']} samples lost" in said.err


@pytest.mark.parametrize(
    ("limit", "code"), [(["--seconds", "3600"], INTERRUPTED), ([], DONE)], ids=["limit", "no limit"]
)
def test_ctrl_c_saves_what_was_had(
    perpend: Perpend,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    limit: list[str],
    code: int,
) -> None:
    """Without a limit it is the ordinary way to end; before the time was up it is not."""
    wait = SessionThread.wait
    pressed: list[bool] = []

    def wait_then_press(thread: Any, seconds: float) -> bool:
        ended = wait(thread, seconds)
        if not pressed and not ended:
            pressed.append(True)
            signal.raise_signal(signal.SIGINT)
        return ended

    monkeypatch.setattr(SessionThread, "wait", wait_then_press)

    said = perpend("record", "--port", f"{EXPERT}&reps=0", "--out", tmp_path, *limit)

    (path,) = tmp_path.iterdir()
    assert pressed
    assert said.code == code
    assert said.out.strip() == str(path)
    assert len(read_recording(path).streams["force"].counts) > 0


def test_the_target_is_kept_with_the_recording_the_default_too(
    perpend: Perpend, tmp_path: Path
) -> None:
    """What counts as default may change; what a trial was meant for does not."""
    target = tmp_path / "target.toml"
    target.write_text("cone_deg = 7.0\n", encoding="utf-8")
    out = tmp_path / "a.h5"

    perpend("record", "--port", EXPERT, "--seconds", 1, "--out", out, "--target", target)

    perpend("record", "--port", EXPERT, "--seconds", 1, "--out", tmp_path / "b.h5")

    assert json.loads(read_recording(out).target_json)["cone_deg"] == 7.0
    assert read_recording(tmp_path / "b.h5").target_json == Target().to_json()


def test_the_line_shows_seconds_samples_and_losses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rich.console.Console.is_terminal", property(lambda _: True))
    told: list[str] = []
    monkeypatch.setattr(
        Progress, "update", lambda _self, _task, **what: told.append(what["description"])
    )

    with progress_line(10.0) as tell:
        tell(RecordProgress(seconds=2.5, samples=3750, lost_samples=12))

    assert told == ["   2.5 s  3750 samples  12 lost"]


def test_a_port_that_does_not_open_leaves_no_folder(perpend: Perpend, tmp_path: Path) -> None:
    rig = Path(virtual_rig.__file__).with_name("rig_right.toml")

    said = perpend(
        "record", "--port", "serial:/dev/none", "--rig", rig, "--out", tmp_path, "--person", "T07"
    )

    assert said.code == FAILED
    assert list(tmp_path.iterdir()) == []


def test_a_code_is_never_a_path(perpend: Perpend, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    for person in ("../T07", "T07/..", "/etc", "T07\n", "t07"):
        said = perpend("record", "--port", EXPERT, "--out", tmp_path / "in", "--person", person)
        assert said.code == FAILED
        assert "is no code" in said.err

    (tmp_path / "in" / "T07").symlink_to(tmp_path)
    said = perpend("record", "--port", EXPERT, "--out", tmp_path / "in", "--person", "T07")

    assert "is a link to somewhere else" in said.err
    assert sorted(tmp_path.rglob("*")) == [tmp_path / "in", tmp_path / "in" / "T07"]


def test_a_break_of_the_line_is_said_and_makes_it_incomplete(
    perpend: Perpend, tmp_path: Path
) -> None:
    """Not one sample that was sent is lost, but nobody knows what the hand did meanwhile."""
    port = f"{EXPERT}&faults=unplug:1"

    said = perpend("record", "--port", port, "--seconds", 3, "--out", tmp_path / "a.h5", "--json")

    plain = json.loads(said.out)
    assert said.code == INCOMPLETE
    assert (plain["whole"], plain["breaks"]) == (False, 1)
    assert "the line was away once, " in said.err
