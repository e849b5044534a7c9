"""A person's recordings go, or change hands, completely, and nobody else's."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.clock import ManualClock
from acquisition.errors import RecordingError
from acquisition.recording.forget import PIECE_BYTES, delete, recode, trace_of
from acquisition.recording.model import Event, TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.recording.session_folder import make_session_folder
from acquisition.recording.verify import verify_recording
from firmware_protocol.messages import StreamSpec

FILES = {
    "20260101_T07_aa.h5": TrialLabel("T07", "retention", "T07 is tired, T071 is not", 3),
    "day/plain.h5": TrialLabel("T07"),
    "20260101_E02_bb.h5": TrialLabel("E02", "", "shown to T07"),
    "20260101_T071_cc.h5": TrialLabel("T071", "", "T071"),
}


@pytest.fixture
def folder(make_writer: Any, make_block: Any, force_spec: StreamSpec, tmp_path: Path) -> Path:
    (tmp_path / "day").mkdir()
    for name, label in FILES.items():
        writer = make_writer(name, label=label)
        writer.on_block(make_block(force_spec, 0, 100))
        writer.on_event(Event(1, 2, "note", f"{label.person} began"))
        writer.close()
    for name in ("20260101_T07_aa.html", "day/plain.json", "20260101_E02_bb.html"):
        (tmp_path / name).write_text("x")
    return tmp_path


def names(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_everything_of_a_person_is_listed(folder: Path) -> None:
    trace = trace_of("T07", folder)

    assert {path.name for path in trace.recordings} == {"20260101_T07_aa.h5", "plain.h5"}
    assert {path.name for path in trace.beside} == {"20260101_T07_aa.html", "plain.json"}
    assert [path.name for path in trace.mentions] == ["20260101_E02_bb.h5"]
    assert trace.unclear == ()


def test_deleting_takes_all_of_one_person_and_nothing_else(folder: Path) -> None:
    delete(trace_of("T07", folder))

    left = {"20260101_E02_bb.h5", "20260101_E02_bb.html", "20260101_T071_cc.h5"}
    assert names(folder) == left
    assert trace_of("T07", folder).recordings == ()


def test_another_code_replaces_the_old_one_everywhere(folder: Path) -> None:
    before = read_recording(folder / "20260101_T07_aa.h5")
    untouched = (folder / "20260101_T071_cc.h5").read_bytes()

    recode(trace_of("T07", folder), "T90", folder)

    assert names(folder) == {
        "20260101_T90_aa.h5",
        "day/plain_T90.h5",
        "20260101_E02_bb_recoded.h5",
        "20260101_T071_cc.h5",
    }
    after = read_recording(folder / "20260101_T90_aa.h5")
    assert after.label == TrialLabel("T90", "retention", "T90 is tired, T071 is not", 3)
    assert after.events[0].text == "T90 began"
    assert np.array_equal(after.streams["force"].counts, before.streams["force"].counts)
    assert (after.uuid, after.started_utc) == (before.uuid, before.started_utc)
    assert read_recording(folder / "20260101_E02_bb_recoded.h5").label.note == "shown to T90"
    assert (folder / "20260101_T071_cc.h5").read_bytes() == untouched
    for name in names(folder):
        path = folder / name
        assert verify_recording(path).whole
        assert b"T07 " not in path.read_bytes()
        assert path.stat().st_mode & 0o777 == 0o600


def test_a_code_in_use_is_refused_or_two_people_would_be_one(folder: Path) -> None:
    before = names(folder)

    with pytest.raises(RecordingError, match="E02 is somebody's code already"):
        recode(trace_of("T07", folder), "E02", folder)

    assert names(folder) == before


def test_one_file_that_is_not_closed_stops_it_before_anything_changes(
    folder: Path, make_writer: Any, clock: ManualClock
) -> None:
    writer = make_writer("day/killed.h5", label=TrialLabel("T07"))
    (folder / "day" / "left.h5.part").write_bytes(writer.part.read_bytes())
    writer.close()
    before = names(folder)

    with pytest.raises(RecordingError, match=r"left\.h5\.part: was never closed; `perpend salva"):
        recode(trace_of("T07", folder), "T90", folder)
    assert names(folder) == before

    delete(trace_of("T07", folder))
    assert not any("killed" in name or "left" in name for name in names(folder))


def test_a_failure_half_way_leaves_all_as_it_was(folder: Path) -> None:
    (folder / "day" / "plain_T90.h5").write_bytes(b"precious")
    before = names(folder)

    with pytest.raises(RecordingError, match="exists already"):
        recode(trace_of("T07", folder), "T90", folder)

    assert names(folder) == before
    assert (folder / "day" / "plain_T90.h5").read_bytes() == b"precious"


def test_what_cannot_be_judged_is_told_and_left(folder: Path) -> None:
    (folder / "bad.h5").write_text("x")
    (folder / "T07").mkdir()
    (folder / "notes T07.txt").write_text("x")
    outside = folder.parent / f"{folder.name}_T07.h5"
    outside.write_bytes((folder / "20260101_T07_aa.h5").read_bytes())
    (folder / "link.h5").symlink_to(outside)

    trace = trace_of("T07", folder)
    delete(trace)

    told = {path.name: why for path, why in trace.unclear}
    assert told == {
        "bad.h5": "cannot be read: is not a recording (not HDF5)",
        "T07": "is called after the code",
        "notes T07.txt": "is called after the code",
    }
    assert outside.exists()
    outside.unlink()


@pytest.mark.parametrize("code", ["", "*", "..", "T07/..", "t07", "T7"])
def test_what_is_no_code_is_refused(folder: Path, code: str) -> None:
    with pytest.raises(RecordingError, match="is no code"):
        trace_of(code, folder)
    with pytest.raises(RecordingError, match="is no code"):
        recode(trace_of("T07", folder), code, folder)


@pytest.fixture
def sessions(make_writer: Any, make_block: Any, force_spec: StreamSpec, tmp_path: Path) -> Path:
    """Two people, each with a folder of a day."""
    for person in ("T07", "T08"):
        folder = make_session_folder(tmp_path, person, date(2026, 3, 31))
        name = (folder / f"20260331_{person}.h5").relative_to(tmp_path).as_posix()
        writer = make_writer(name, label=TrialLabel(person))
        writer.on_block(make_block(force_spec, 0, 100))
        writer.close()
    return tmp_path


def test_the_folders_of_a_person_go_with_what_they_held(sessions: Path) -> None:
    trace = trace_of("T07", sessions)
    assert trace.unclear == ()

    delete(trace)

    assert [path.name for path in sessions.iterdir()] == ["T08"]
    assert trace_of("T07", sessions).unclear == ()


def test_what_else_lies_in_such_a_folder_stays_and_is_told(sessions: Path) -> None:
    (sessions / "T07" / "consent.txt").write_text("x")

    delete(trace_of("T07", sessions))

    ((path, why),) = trace_of("T07", sessions).unclear
    assert (path, why) == (sessions / "T07", "is called after the code")


def test_a_new_code_has_folders_of_its_own(sessions: Path) -> None:
    (path,) = recode(trace_of("T07", sessions), "T55", sessions)

    assert path == sessions / "T55" / "2026-03-31" / "20260331_T55.h5"
    assert sorted(one.name for one in sessions.iterdir()) == ["T08", "T55"]
    assert trace_of("T07", sessions).unclear == ()


def test_a_table_or_report_that_names_the_person_is_told(folder: Path) -> None:
    table = folder / "measures.csv"
    table.write_text("person,force\nE02,30\nT07,40\n")
    (folder / "others.csv").write_text("person,force\nE02,30\nT071,40\nXT07,3\n")
    large = folder / "large.json"
    large.write_bytes(b" " * (PIECE_BYTES - 2) + b"T07 " + b" " * 99)

    delete(trace_of("T07", folder))

    assert set(trace_of("T07", folder).unclear) == {
        (table, "names the code"),
        (large, "names the code"),
    }
