"""Room on the disk, told ahead, and a disk that does not keep up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from acquisition.clock import ManualClock
from acquisition.errors import RecordingError
from acquisition.recording.appender import Appender
from acquisition.recording.at_once import write_at_once
from acquisition.recording.disk import (
    STOP_FREE_BYTES,
    DiskPace,
    bytes_per_minute,
    minutes_left,
    require_room,
)
from acquisition.recording.model import LinkCounts
from acquisition.recording.reader import read_recording
from acquisition.recording.salvage import salvage
from firmware_protocol.messages import Identity, StreamSpec


def test_the_meter_is_what_a_recording_really_takes_and_not_less(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, imu_spec: StreamSpec, identity: Any
) -> None:
    """A minute of both streams in the shortest blocks a rig sends."""
    writer = make_writer()
    before = writer.part.stat().st_size
    for first in range(0, 60_000, 4):
        writer.on_block(make_block(force_spec, first, 4))
    for first in range(0, 12_000, 4):
        writer.on_block(make_block(imu_spec, first, 4))

    grew = writer.close().stat().st_size - before

    assert bytes_per_minute(identity.streams) == pytest.approx(grew, rel=0.25)


def test_minutes_left_are_those_above_the_reserve(identity: Identity, tmp_path: Path) -> None:
    ten = round(10 * bytes_per_minute(identity.streams)) + STOP_FREE_BYTES

    assert minutes_left(tmp_path, identity.streams, free_bytes=lambda _: ten) == pytest.approx(
        10.0, abs=0.01
    )
    assert minutes_left(tmp_path, identity.streams, free_bytes=lambda _: 1 << 20) == 0.0
    with pytest.raises(RecordingError, match="is gone"):
        minutes_left(tmp_path / "none", identity.streams)


def test_a_fast_rig_needs_room_for_five_minutes(make_writer: Any, identity: Identity) -> None:
    fast = tuple(
        StreamSpec(one.stream_id, one.name, one.sample_type, 20_000.0, one.channels)
        for one in identity.streams
    )
    rig = Identity(1, 1, 0, "fw", "RIG-01", 7, fast)

    with pytest.raises(RecordingError, match=r"room for \d\.\d minutes, 5 needed; make room"):
        make_writer(identity=rig, free_bytes=lambda _: 100 << 20)


def test_the_writer_knows_how_long_there_is_room(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, clock: ManualClock
) -> None:
    free = [200 << 20, 100 << 20]
    writer = make_writer(free_bytes=lambda _: free.pop(0) if len(free) > 1 else free[0])
    at_first = writer.minutes_left
    clock.advance(1.0)

    writer.on_block(make_block(force_spec, 0))

    assert writer.minutes_left < at_first / 2
    free[0] = 1 << 40


def test_a_disk_slower_than_the_rig_ends_the_recording_loudly(
    make_writer: Any,
    make_block: Any,
    force_spec: StreamSpec,
    clock: ManualClock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each flush takes two seconds; meanwhile the line's buffers run over."""
    writer, append = make_writer(), Appender.append_pending

    def slow(table: Appender) -> None:
        clock.advance(1.0 / len(writer._tables))
        append(table)

    monkeypatch.setattr(Appender, "append_pending", slow)
    written = 0

    def record() -> None:
        nonlocal written
        for turn in range(100):
            writer.on_block(make_block(force_spec, turn * 1000))
            written += 20
            clock.advance(0.2)
            writer.on_step(LinkCounts(frames=turn + 1))

    with pytest.raises(RecordingError, match=r"the disk is slower than the rig: in the last 10 s"):
        record()

    recording = read_recording(writer.close("stopped: too slow"))
    assert 10 <= clock.now_ns() * 1e-9 < 20
    assert len(recording.streams["force"].counts) == written


def test_a_source_that_waits_may_keep_the_disk_busy(tmp_path: Path, clock: ManualClock) -> None:
    pace = DiskPace(tmp_path, clock)

    for turn in range(100):
        began = clock.now_ns()
        clock.advance(1.0)
        pace.worked(began, recorded_s=1.5 * turn)


def test_one_hiccup_of_the_disk_is_no_end(tmp_path: Path, clock: ManualClock) -> None:
    pace = DiskPace(tmp_path, clock)

    for turn in range(100):
        began = clock.now_ns()
        clock.advance(6.0 if turn == 50 else 0.01)
        pace.worked(began, recorded_s=0.25 * turn)
        clock.advance(0.24)


def test_salvage_looks_for_room_ahead_and_leaves_nothing(
    make_writer: Any,
    make_block: Any,
    force_spec: StreamSpec,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    writer = make_writer()
    writer.on_block(make_block(force_spec, 0, 100))
    path = writer.close()
    free = [17 << 20]
    monkeypatch.setattr("acquisition.recording.disk.shutil.disk_usage", lambda _: _Usage(free[0]))

    with pytest.raises(RecordingError, match="only 17 MiB free on this disk, 21 needed"):
        salvage(path, tmp_path / "new.h5")
    assert [one.name for one in tmp_path.iterdir()] == [path.name]

    free[0] = 30 << 20
    salvage(path, tmp_path / "new.h5")


def test_room_is_asked_for_all_that_will_be_written(tmp_path: Path) -> None:
    require_room(tmp_path / "x", 1 << 20, free_bytes=lambda _: 17 << 20)
    with pytest.raises(RecordingError, match="make room or record elsewhere"):
        require_room(tmp_path / "x", 2 << 20, free_bytes=lambda _: 17 << 20)
    with pytest.raises(RecordingError):
        write_at_once(tmp_path / "no" / "x.h5", {}, {}, ())


class _Usage:
    def __init__(self, free: int) -> None:
        self.free = free
