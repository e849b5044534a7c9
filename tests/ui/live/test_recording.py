"""Recordings, zeros and marks from the screen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from acquisition.errors import RecordingError
from acquisition.recording.reader import read_recording
from ui.live import recorder
from ui.live.recorder import ScreenRecording

Maker = Callable[..., Any]
UPWARD = "virtual:?trainee=T01&seed=7"


def test_a_recording_from_the_screen_reads_back(bench: Maker) -> None:
    one = bench(UPWARD)
    one.go_on(1.0)
    one.feed.toggle_recording()
    during = one.go_on(2.0)
    one.feed.mark("here")
    one.go_on(0.5)

    one.feed.toggle_recording()

    path = during.moment.feed.recording.path
    after = one.look()
    assert "rows" in during.health.recording
    assert path.name in during.health.banner
    assert after.health.recording == ""
    assert after.health.banner == f"saved and checked: {path.name}"
    recording = read_recording(path)
    assert len(recording.streams["force"].counts) > 2000
    assert recording.label.person == "T01"
    assert [event.kind for event in recording.events] == ["mark", "zero"]


def test_two_recordings_never_share_a_file(bench: Maker) -> None:
    one = bench(UPWARD)
    paths = set()
    for _ in range(2):
        one.feed.toggle_recording()
        paths.add(one.go_on(0.3).moment.feed.recording.path)
        one.feed.toggle_recording()

    assert len(paths) == 2
    assert all(read_recording(path).status == "complete" for path in paths)


def test_a_full_disk_ends_the_recording_and_not_the_picture(
    bench: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = bench(UPWARD)
    one.feed.toggle_recording()
    path = one.go_on(1.0).moment.feed.recording.path

    def full(self: ScreenRecording, block: object) -> None:
        raise RecordingError("only 3 MiB free")

    monkeypatch.setattr(ScreenRecording, "on_block", full)
    looks = one.go_on(0.5)

    assert looks.moment.feed.recording.path is None
    assert looks.health.trouble
    assert "only 3 MiB free" in looks.health.banner
    assert path.name in looks.health.banner
    assert looks.health.well
    assert len(read_recording(path).streams["force"].counts) > 500


def test_a_file_that_does_not_hold_what_was_written_is_not_called_saved(
    bench: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unreadable(path: object) -> None:
        raise RecordingError(f"{path}: is damaged")

    one = bench(UPWARD)
    one.feed.toggle_recording()
    one.go_on(0.5)
    monkeypatch.setattr(recorder, "read_recording", unreadable)
    one.feed.toggle_recording()

    assert "is damaged" in one.look().health.banner
    assert one.look().health.trouble


def test_a_folder_that_is_gone_is_told(bench: Maker, tmp_path: Any) -> None:
    one = bench(UPWARD)
    one.go_on(0.2)
    tmp_path.rmdir()

    one.feed.toggle_recording()

    looks = one.go_on(0.2)
    assert looks.health.trouble
    assert looks.health.banner.startswith("not recorded: ")
    assert looks.health.recording == ""
    tmp_path.mkdir()


def test_the_end_of_the_source_ends_the_recording_properly(bench: Maker) -> None:
    one = bench(UPWARD + "&reps=1")
    one.go_on(25.0)
    one.feed.toggle_recording()
    path = one.go_on(0.5).moment.feed.recording.path

    one.go_on(60.0)
    one.clock.sleep(1.0)

    looks = one.look()
    assert looks.health.banner == f"saved and checked: {path.name}"
    assert looks.verdict.text == "the end: nothing more will come"
    assert read_recording(path).status == "complete"


def test_closing_ends_a_recording_properly(bench: Maker) -> None:
    one = bench(UPWARD)
    one.go_on(1.0)
    one.feed.toggle_recording()
    path = one.go_on(1.0).moment.feed.recording.path

    one.feed.close()
    one.feed.close()

    assert read_recording(path).status == "complete"


def test_a_note_goes_away_and_trouble_stays(bench: Maker) -> None:
    one = bench(UPWARD)
    one.feed.mark()
    assert "nothing is being recorded" in one.go_on(0.1).health.banner
    assert one.go_on(7.0).health.banner == ""

    one.feed.tell("something broke", trouble=True)

    assert one.go_on(7.0).health.banner == "something broke"


def test_a_zero_with_a_hand_on_is_refused_in_words(bench: Maker) -> None:
    one = bench(UPWARD)
    one.go_on(6.5)

    one.feed.zero()

    assert one.look().health.banner.startswith("no zero: ")
    assert one.look().health.trouble


def test_a_zero_at_rest_is_taken_and_noted_in_the_recording(bench: Maker) -> None:
    one = bench(UPWARD)
    one.go_on(2.5)
    one.feed.toggle_recording()
    one.go_on(0.5)

    one.feed.zero()

    assert one.look().health.banner == "zero taken"
    path = one.go_on(0.3).moment.feed.recording.path
    one.feed.toggle_recording()
    assert [event.kind for event in read_recording(path).events] == ["zero"]


def test_the_trials_of_a_day_are_counted_in_their_folder(bench: Maker, tmp_path: Any) -> None:
    one = bench(UPWARD)
    paths = []
    for _ in range(2):
        one.feed.toggle_recording()
        paths.append(one.go_on(0.3).moment.feed.recording.path)
        one.feed.toggle_recording()

    assert [read_recording(path).label.trial for path in paths] == [1, 2]
    (day,) = (tmp_path / "T01").iterdir()
    assert {path.parent for path in paths} == {day}


def test_little_room_on_the_disk_is_told_in_minutes(
    bench: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = bench(UPWARD)
    one.feed.toggle_recording()
    assert "disk" not in one.go_on(0.5).health.recording

    monkeypatch.setattr(ScreenRecording, "minutes_left", property(lambda _: 12.4))

    assert one.look().health.recording.endswith(" rows · disk 12 min")


def test_a_recording_that_begins_behind_the_zero_notes_when_it_has_seen_the_hand_away(
    bench: Maker,
) -> None:
    one = bench(UPWARD)
    one.go_on(2.0)
    assert one.feed.zero() == ""
    one.go_on(0.3)

    one.feed.toggle_recording()
    path = one.go_on(2.0).moment.feed.recording.path
    one.feed.toggle_recording()

    recording = read_recording(path)
    assert [event.kind for event in recording.events] == ["zero"]
    (event,) = recording.events
    first_us = recording.streams["force"].device_time_us[0]
    assert event.device_time_us - first_us > 1_000_000  # the second it stands for is recorded
