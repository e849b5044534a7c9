"""One trial from port to closed file."""

from __future__ import annotations

import math
import signal
import threading
from pathlib import Path
from typing import Any

import pytest

from acquisition import record
from acquisition.clock import ManualClock
from acquisition.errors import DescriptionError, PortError, RecordingError, RigError, TransportLost
from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.recording.verify import verify_recording
from acquisition.rig import RigDescription
from acquisition.transports.scripted import ScriptedTransport
from firmware_protocol.messages import Identity, StreamSpec


@pytest.fixture
def blocks(make_raw: Any, force_spec: StreamSpec) -> list[Any]:
    return [make_raw(force_spec, first) for first in range(0, 2000, 20)]


@pytest.fixture
def source(identity: Identity, clock: ManualClock) -> Any:
    def make(script: list[Any], who: Identity | None = identity, **options: Any) -> Any:
        return ScriptedTransport(who, script, clock=clock, **options)

    return make


def test_a_source_with_an_end_is_recorded_whole(
    source: Any, blocks: list[Any], tmp_path: Path, rig: RigDescription, clock: ManualClock
) -> None:
    told: list[record.RecordProgress] = []
    label = TrialLabel("T07", "retention", "calm")

    outcome = record_trial(
        source(blocks),
        tmp_path / "t.h5",
        rig=rig,
        target_json='{"a": 1}',
        label=label,
        clock=clock,
        progress=told.append,
    )

    recording = read_recording(outcome.path)
    assert outcome.path == tmp_path / "t.h5"
    assert outcome.whole
    assert outcome.seconds == pytest.approx(1.999)
    assert (told[-1].seconds, told[-1].samples, told[-1].lost_samples) == (outcome.seconds, 2000, 0)
    assert 0 < told[-1].minutes_left < math.inf
    assert recording.label == label
    assert recording.target_json == '{"a": 1}'
    assert len(recording.streams["force"].counts) == 2000
    assert recording.counts == outcome.counts
    assert list(tmp_path.iterdir()) == [outcome.path]


def test_it_ends_when_enough_of_the_rig_s_time_is_had(
    source: Any, blocks: list[Any], tmp_path: Path, rig: RigDescription, clock: ManualClock
) -> None:
    outcome = record_trial(
        source(blocks, endless=True), tmp_path / "t.h5", rig=rig, seconds=0.5, clock=clock
    )

    assert outcome.status == "complete"
    assert outcome.seconds == pytest.approx(0.5, abs=0.021)


def test_lost_samples_are_told(
    source: Any, blocks: list[Any], tmp_path: Path, rig: RigDescription, clock: ManualClock
) -> None:
    outcome = record_trial(source(blocks[::2]), tmp_path / "t.h5", rig=rig, clock=clock)

    assert outcome.status == "complete"
    assert outcome.counts.lost_samples == 49 * 20
    assert not outcome.whole


def test_a_stream_that_dies_is_told_though_no_number_jumps(
    source: Any,
    blocks: list[Any],
    make_raw: Any,
    imu_spec: StreamSpec,
    tmp_path: Path,
    rig: RigDescription,
    clock: ManualClock,
) -> None:
    alone = [make_raw(imu_spec, first) for first in range(0, 1000, 20)]

    outcome = record_trial(source([*blocks, *alone]), tmp_path / "t.h5", rig=rig, clock=clock)

    assert (outcome.status, outcome.lost_samples) == ("complete", 0)
    assert outcome.silent == ("nothing comes of stream 'force' while the rig goes on",)
    assert not outcome.whole
    assert verify_recording(outcome.path).missing == (
        "stream 'force' was silent for the last 3.0 s, while others went on",
    )


def test_a_line_that_stays_away_ends_it_with_what_was_had(
    source: Any, blocks: list[Any], tmp_path: Path, rig: RigDescription, clock: ManualClock
) -> None:
    gone = [None, *[PortError("serial:X: is not there")] * 200]
    script = [*blocks[:10], TransportLost("unplugged")]

    outcome = record_trial(
        _InstantRetries(source(script, opens=gone, endless=True), clock),
        tmp_path / "t.h5",
        rig=rig,
        clock=clock,
    )

    assert outcome.status.startswith("stopped: scripted:: not back within 30 s")
    assert not outcome.whole
    recording = read_recording(outcome.path)
    assert recording.status == outcome.status
    assert len(recording.streams["force"].counts) == 200
    assert [event.kind for event in recording.events] == ["lost"]


class _InstantRetries:
    """The script's line, with the waits of a lost line taken out of the thread's hands."""

    def __init__(self, transport: ScriptedTransport, clock: ManualClock) -> None:
        self._transport, self._clock = transport, clock

    def __getattr__(self, name: str) -> Any:
        return getattr(self._transport, name)

    def open(self) -> None:
        self._clock.advance(10.0)
        self._transport.open()


def test_nothing_is_made_if_it_cannot_begin(
    source: Any,
    blocks: list[Any],
    tmp_path: Path,
    rig: RigDescription,
    clock: ManualClock,
    identity: Identity,
) -> None:
    out = tmp_path / "t.h5"
    with pytest.raises(PortError, match="no permission"):
        record_trial(source([], opens=[PortError("no permission")]), out, rig=rig, clock=clock)
    with pytest.raises(RigError, match="heard nothing"):
        record_trial(source([], who=None, endless=True), out, rig=rig, clock=clock)
    stranger = Identity(1, 1, 0, "", "RIG-99", 0, identity.streams)
    with pytest.raises(DescriptionError, match="'RIG-99' answers"):
        record_trial(source(blocks, who=stranger), out, rig=rig, clock=clock)
    label = TrialLabel("Jane")
    with pytest.raises(RecordingError, match="'Jane' is no code"):
        record_trial(source(blocks), out, rig=rig, clock=clock, label=label)

    assert list(tmp_path.iterdir()) == []


def test_a_taken_name_is_refused_before_the_port_is_opened(
    source: Any, tmp_path: Path, rig: RigDescription, clock: ManualClock
) -> None:
    out = tmp_path / "t.h5"
    out.write_bytes(b"precious")
    never = source([], opens=[AssertionError("was opened")])

    with pytest.raises(RecordingError, match="exists already; choose another name"):
        record_trial(never, out, rig=rig, clock=clock)

    assert out.read_bytes() == b"precious"


@pytest.mark.parametrize(
    ("seconds", "status"),
    [(None, "complete"), (60.0, "stopped: by the keyboard, before the time was up")],
)
def test_ctrl_c_closes_the_file_properly(
    source: Any,
    blocks: list[Any],
    tmp_path: Path,
    rig: RigDescription,
    clock: ManualClock,
    monkeypatch: pytest.MonkeyPatch,
    seconds: float | None,
    status: str,
) -> None:
    monkeypatch.setattr(record, "PROGRESS_INTERVAL_S", 0.001)
    pressed = threading.Event()

    def press(so_far: record.RecordProgress) -> None:
        if so_far.seconds > 1.0 and not pressed.is_set():
            pressed.set()
            signal.raise_signal(signal.SIGINT)

    outcome = record_trial(
        source(blocks, endless=True),
        tmp_path / "t.h5",
        rig=rig,
        seconds=seconds,
        clock=clock,
        progress=press,
    )

    assert outcome.interrupted
    assert outcome.status == status
    assert len(read_recording(outcome.path).streams["force"].counts) > 1000


def test_a_disk_that_fills_up_ends_it_loudly_and_closes_the_file(
    source: Any,
    blocks: list[Any],
    tmp_path: Path,
    rig: RigDescription,
    clock: ManualClock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    free = iter([1 << 40, 1 << 40])
    monkeypatch.setattr("acquisition.recording.disk.shutil.disk_usage", _Usage(free))
    script = [line for block in blocks for line in (block, 0.1)]  # flushes on the way

    with pytest.raises(RecordingError, match="only 1 MiB free on this disk, 16 needed"):
        record_trial(source(script, endless=True), tmp_path / "t.h5", rig=rig, clock=clock)

    recording = read_recording(tmp_path / "t.h5")
    assert recording.status.startswith("stopped: ")
    assert len(recording.streams["force"].counts) > 40


class _Usage:
    def __init__(self, free: Any) -> None:
        self._free = free

    def __call__(self, _: object) -> Any:
        self.free = next(self._free, 1 << 20)
        return self
