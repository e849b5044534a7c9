"""What a recorder refuses, and what it leaves when something goes wrong."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from acquisition.clock import ManualClock
from acquisition.errors import RecordingError
from acquisition.recording.label import check_label
from acquisition.recording.model import Event, LinkCounts, TrialLabel
from acquisition.recording.reader import read_recording
from firmware_protocol.messages import StreamSpec


def test_before_the_first_sample_all_is_on_the_disk(make_writer: Any) -> None:
    writer = make_writer()

    copy = writer.part.with_name("copy.h5.part")
    copy.write_bytes(writer.part.read_bytes())  # what a kill right now would leave

    recording = read_recording(copy)
    assert recording.status == "recording"
    assert recording.label.person == "T07"
    assert set(recording.streams) == {"force", "imu"}


def test_samples_are_on_the_disk_a_quarter_of_a_second_later(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, clock: ManualClock
) -> None:
    writer, copy = make_writer(), Path()

    def on_disk() -> int:
        nonlocal copy
        copy = writer.part.with_name("copy.h5.part")
        copy.write_bytes(writer.part.read_bytes())
        return len(read_recording(copy).streams["force"].counts)

    for first in range(0, 240, 20):
        writer.on_block(make_block(force_spec, first))
        clock.advance(0.02)
    assert on_disk() == 0
    clock.advance(0.02)

    writer.on_step(LinkCounts())  # also when no more samples come

    assert on_disk() == 240


def test_a_source_faster_than_real_time_is_flushed_by_its_bytes(
    make_writer: Any, make_block: Any, force_spec: StreamSpec
) -> None:
    writer = make_writer()
    size = writer.part.stat().st_size
    for first in range(0, 120_000, 250):
        writer.on_block(make_block(force_spec, first, 250))

    assert writer.part.stat().st_size > size + 1_000_000


@pytest.mark.parametrize("taken", ["trial.h5", "trial.h5.part"])
def test_a_name_that_is_taken_is_refused(make_writer: Any, tmp_path: Path, taken: str) -> None:
    (tmp_path / taken).write_bytes(b"precious")

    with pytest.raises(RecordingError, match="choose another name"):
        make_writer()

    assert (tmp_path / taken).read_bytes() == b"precious"
    assert [path.name for path in tmp_path.iterdir()] == [taken]


def test_a_dangling_link_is_taken_too(make_writer: Any, tmp_path: Path) -> None:
    (tmp_path / "trial.h5").symlink_to(tmp_path / "elsewhere.h5")

    with pytest.raises(RecordingError, match="exists already"):
        make_writer()


@pytest.mark.parametrize("hard_links", [True, False])
def test_a_name_taken_during_the_recording_is_not_replaced(
    make_writer: Any,
    make_block: Any,
    force_spec: StreamSpec,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    hard_links: bool,
) -> None:
    writer = make_writer()
    writer.on_block(make_block(force_spec, 0))
    (tmp_path / "trial.h5").write_bytes(b"precious")
    if not hard_links:
        monkeypatch.setattr("os.link", _no_hard_links)

    with pytest.raises(RecordingError, match=r"somebody took this name .* whole in .*\.part"):
        writer.close()

    assert (tmp_path / "trial.h5").read_bytes() == b"precious"
    assert read_recording(writer.part).status == "complete"
    assert writer.close() == writer.part


def test_a_disk_without_hard_links_will_do(
    make_writer: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("os.link", _no_hard_links)
    writer = make_writer()

    path = writer.close()

    assert read_recording(path).status == "complete"
    assert not writer.part.exists()


def _no_hard_links(*_: object, **__: object) -> None:
    raise PermissionError(1, "Operation not permitted")


def test_a_folder_that_is_not_there_is_refused(make_writer: Any) -> None:
    with pytest.raises(RecordingError, match="nowhere does not exist; make it first"):
        make_writer("nowhere/trial.h5")


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is forbidden to root")
def test_a_folder_that_may_not_be_written_is_refused(make_writer: Any, tmp_path: Path) -> None:
    tmp_path.chmod(0o500)

    with pytest.raises(RecordingError, match="cannot be made"):
        make_writer()


def test_a_disk_nearly_full_is_refused_before_it_begins(make_writer: Any, tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="only 60 MiB free on this disk, 64 needed"):
        make_writer(free_bytes=lambda _: 60 << 20)

    assert list(tmp_path.iterdir()) == []


def test_a_disk_filling_up_ends_the_recording_while_it_can_be_closed(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, clock: ManualClock
) -> None:
    free = [1 << 40, 1 << 40, 15 << 20]
    writer = make_writer(free_bytes=lambda _: free.pop(0))
    writer.on_block(make_block(force_spec, 0))
    clock.advance(0.3)
    writer.on_block(make_block(force_spec, 20))
    clock.advance(0.3)

    with pytest.raises(RecordingError, match="only 15 MiB free"):
        writer.on_block(make_block(force_spec, 40))

    recording = read_recording(writer.close("stopped: disk full"))
    assert len(recording.streams["force"].counts) == 60


def test_what_hdf5_raises_on_a_full_disk_is_one_clear_line_and_the_rest_stays_readable(
    make_writer: Any,
    make_block: Any,
    force_spec: StreamSpec,
    clock: ManualClock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    writer = make_writer()
    writer.on_block(make_block(force_spec, 0))
    clock.advance(0.3)
    writer.on_block(make_block(force_spec, 20))

    def full(_: object) -> None:
        raise RuntimeError("Can't decrement id ref count (file write failed)")

    monkeypatch.setattr("acquisition.recording.appender.Appender.append_pending", full)
    clock.advance(0.3)
    with pytest.raises(RecordingError, match=r"cannot be written .* is kept in it"):
        writer.on_block(make_block(force_spec, 40))

    assert writer.close("stopped: disk full") == writer.part
    assert len(read_recording(writer.part).streams["force"].counts) == 40


def test_a_folder_that_vanishes_is_told(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, clock: ManualClock, tmp_path: Path
) -> None:
    (tmp_path / "day").mkdir()

    def gone(folder: Path) -> int:
        folder.stat()
        return 1 << 40

    writer = make_writer("day/trial.h5", free_bytes=gone)
    (tmp_path / "day").rename(tmp_path / "moved")
    clock.advance(0.3)

    with pytest.raises(RecordingError, match="day: is gone"):
        writer.on_block(make_block(force_spec, 0))
    with pytest.raises(
        RecordingError, match=r"day: is gone; if it was moved, look there for trial\.h5\.part"
    ):
        writer.close("stopped: the folder is gone")
    recording = read_recording(tmp_path / "moved" / "trial.h5.part")
    assert len(recording.streams["force"].counts) == 20


def test_closing_twice_is_fine(make_writer: Any) -> None:
    writer = make_writer()

    assert writer.close() == writer.close("stopped: again")
    assert read_recording(writer.close()).status == "complete"


def test_accounts_are_on_record_even_if_it_is_killed(make_writer: Any, clock: ManualClock) -> None:
    writer = make_writer()
    writer.on_step(LinkCounts(frames=5))
    clock.advance(0.3)
    writer.on_event(Event(1, 2, "mark", "x"))
    writer.on_step(LinkCounts(frames=25, lost_samples=3))
    clock.advance(0.3)
    writer.on_step(LinkCounts(frames=26, lost_samples=3))

    copy = writer.part.with_name("copy.h5.part")
    copy.write_bytes(writer.part.read_bytes())

    recording = read_recording(copy)
    assert recording.counts == LinkCounts(frames=21, lost_samples=3)
    assert [event.kind for event in recording.events] == ["mark"]


@pytest.mark.parametrize(
    ("label", "what"),
    [
        (TrialLabel("Jane Doe"), "is no code"),
        (TrialLabel("t07"), "is no code"),
        (TrialLabel("T7"), "is no code"),
        (TrialLabel("T07\n"), "is no code"),
        (TrialLabel("../T07"), "is no code"),
        (TrialLabel("T07", "With Feedback"), "condition"),
        (TrialLabel("T07", "a/b"), "condition"),
        (TrialLabel("T07", "", "x" * 4001), "note"),
        (TrialLabel("T07", "", "a\0b"), "note"),
    ],
)
def test_labels_are_codes_and_plain_words(label: TrialLabel, what: str) -> None:
    with pytest.raises(RecordingError, match=what):
        check_label(label)


@pytest.mark.parametrize(
    "label", [TrialLabel(), TrialLabel("T07"), TrialLabel("E1234", "retention_2", "<b>ä</b>\n2")]
)
def test_good_labels_pass(label: TrialLabel) -> None:
    assert check_label(label) == label


def test_a_text_too_long_for_an_attribute_is_refused(make_writer: Any, tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="target_json is too long"):
        make_writer(target_json="x" * 60_001)

    assert list(tmp_path.iterdir()) == []
