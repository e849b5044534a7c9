"""What a folder holds, worked out from its files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from acquisition.clock import ManualClock
from acquisition.errors import RecordingError
from acquisition.recording.index import index_of, next_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from firmware_protocol.messages import StreamSpec


@pytest.fixture
def folder(
    make_writer: Any,
    make_block: Any,
    force_spec: StreamSpec,
    clock: ManualClock,
    tmp_path: Path,
) -> Path:
    (tmp_path / "day 2").mkdir()
    for name, label in (
        ("b.h5", TrialLabel("T07", "with_feedback", "", 1)),
        ("a.h5", TrialLabel("E02", "", "", 5)),
        ("day 2/c.h5", TrialLabel("T07", "retention", "", 4)),
    ):
        writer = make_writer(name, label=label)
        writer.on_block(make_block(force_spec, 0, 100))
        writer.close()
        clock.advance(60.0)
    return tmp_path


def test_it_lists_every_recording_by_time(folder: Path) -> None:
    index = index_of(folder)

    found = [(entry.path.name, entry.label.person, entry.label.trial) for entry in index.entries]
    assert found == [("b.h5", "T07", 1), ("a.h5", "E02", 5), ("c.h5", "T07", 4)]
    assert {(entry.rig, entry.side, entry.seconds) for entry in index.entries} == {
        ("RIG-01", "right", 0.1)
    }
    assert index.unreadable == ()


def test_part_files_are_listed_and_bad_files_told_and_links_left_alone(
    folder: Path, make_writer: Any
) -> None:
    writer = make_writer("killed.h5")
    (folder / "left.h5.part").write_bytes(writer.part.read_bytes())
    (folder / "bad.h5").write_text("x")
    (folder / "day 2" / "link.h5").symlink_to(folder / "a.h5")

    index = index_of(folder)

    statuses = {entry.path.name: entry.status for entry in index.entries}
    assert statuses["left.h5.part"] == "recording"
    assert "link.h5" not in statuses
    assert (folder / "bad.h5", "is not a recording (not HDF5)") in index.unreadable


def test_trials_are_numbered_for_each_person_from_the_files(folder: Path) -> None:
    assert next_trial(folder, "T07") == 5
    assert next_trial(folder, "E02") == 6
    assert next_trial(folder, "T08") == 1

    (folder / "day 2" / "c.h5").unlink()

    assert next_trial(folder, "T07") == 2


def test_the_number_is_kept_in_the_file(folder: Path) -> None:
    assert read_recording(folder / "a.h5").label.trial == 5


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="no such folder"):
        index_of(tmp_path / "x")
