"""The bytes of a line logged while it was recorded, and played back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.clock import ManualClock
from acquisition.errors import PortError, TransportLost
from acquisition.record import RecordOutcome, record_trial
from acquisition.recording.raw_log import Kind, RawLog, find_raw_log, raw_log_path
from acquisition.recording.reader import read_recording
from acquisition.rig import RigDescription
from acquisition.transports import transport_for
from acquisition.transports.replay_bytes import ReplayBytesPort
from acquisition.transports.scripted import ScriptedTransport
from firmware_protocol.ends import RigEnd
from firmware_protocol.messages import Identity, Pong, StreamSpec

FAULTS = "loss:0.02,flip:0.001,double:0.02,restart:2,unplug:4"
NOISY = f"virtual:?trainee=T03&seed=7&speed=max&faults={FAULTS}"


def rows_of(path: Path) -> dict[str, Any]:
    recording = read_recording(path)
    return {
        f"{name}.{what}": getattr(stream, what)
        for name, stream in recording.streams.items()
        for what in ("counts", "sample_number", "device_time_us", "segment")
    }


def played_out(port: ReplayBytesPort) -> None:
    while not port.finished:
        port.read()


def assert_same(first: RecordOutcome, second: RecordOutcome) -> None:
    before, after = rows_of(first.path), rows_of(second.path)
    for name, rows in before.items():
        assert np.array_equal(after[name], rows), name
    assert second.counts == first.counts


@pytest.fixture
def script(make_raw: Any, force_spec: StreamSpec, imu_spec: StreamSpec) -> list[Any]:
    """Blocks, noise, a frame cut in two by a read, a lost block, a repeated one, a lost line."""
    rig = RigEnd()
    blocks = [make_raw(force_spec, first) for first in range(0, 400, 20)]
    cut = rig.send(blocks[7])
    return [
        *blocks[:5],
        b"\x11\x22noise\x00",
        cut[:9],
        cut[9:],
        blocks[8],
        blocks[8],
        0.5,
        *blocks[9:],
        TransportLost("unplugged"),
        make_raw(imu_spec, 0, 4),
        *[make_raw(force_spec, first) for first in range(0, 200, 20)],
    ]


@pytest.fixture
def recorded(
    script: list[Any], identity: Identity, rig: RigDescription, tmp_path: Path, clock: ManualClock
) -> RecordOutcome:
    source = ScriptedTransport(identity, script, clock=clock)
    return record_trial(source, tmp_path / "trial.h5", rig=rig, raw_log=True, clock=clock)


def test_what_is_recorded_from_the_bytes_is_what_was_recorded_first(
    recorded: RecordOutcome, tmp_path: Path, rig: RigDescription
) -> None:
    again = record_trial(f"replay:{recorded.path}?speed=max", tmp_path / "again.h5", rig=rig)

    assert recorded.counts.bad_frames == 1
    assert recorded.counts.repeated_samples == 20
    assert recorded.counts.lost_samples == 40
    assert_same(recorded, again)
    kinds = [event.kind for event in read_recording(again.path).events]
    assert kinds == ["lost", "resumed"]


def test_the_bytes_are_those_the_port_gave(
    recorded: RecordOutcome, script: list[Any], clock: ManualClock
) -> None:
    log = find_raw_log(recorded.path)
    assert log is not None
    read = b"".join(one.data for one in RawLog(log) if one.kind is Kind.READ)
    written = b"".join(one.data for one in RawLog(log) if one.kind is Kind.WRITTEN)
    port = ReplayBytesPort("replay:x", log, speed=np.inf, clock=clock)

    port.open()
    played = b""
    while not port.finished:
        try:
            played += port.read()
        except TransportLost:
            port.open()
        port.write(written)  # the questions of then: so the answer's number stays the same

    assert played == read
    for line in script:
        assert not isinstance(line, bytes) or line in played


def test_a_faulty_virtual_rig_comes_out_the_same_with_its_damage(tmp_path: Path) -> None:
    port = transport_for(NOISY)
    rig = port.virtual_rig.rig  # type: ignore[attr-defined] # of the virtual port
    first = record_trial(port, tmp_path / "a.h5", rig=rig, seconds=5.0, raw_log=True)

    again = record_trial(f"replay:{first.path}?speed=max", tmp_path / "b.h5", rig=rig)

    assert first.counts.bad_frames > 0
    assert first.counts.lost_samples > 0
    assert_same(first, again)


def test_it_is_paced_by_the_times_of_arrival(recorded: RecordOutcome, clock: ManualClock) -> None:
    log = find_raw_log(recorded.path)
    assert log is not None
    times = [one.time_ns for one in RawLog(log) if one.kind is Kind.READ]
    began_ns = clock.now_ns()
    port = ReplayBytesPort("replay:x", log, speed=2.0, clock=clock)

    port.open()
    port.write(b"".join(one.data for one in RawLog(log) if one.kind is Kind.WRITTEN))
    with pytest.raises(TransportLost, match="here the line was lost"):
        played_out(port)

    assert clock.now_ns() - began_ns == pytest.approx((times[-12] - times[0]) / 2, abs=3e7)


def test_an_answer_to_a_question_of_another_day_sets_no_clock(
    identity: Identity, rig: RigDescription, tmp_path: Path, clock: ManualClock
) -> None:
    """The rig's clock as it stood then says nothing about the host's clock now."""
    clock.advance(5.0)
    old = RigEnd().send(Pong(9, 1_000_000, 77, 78))
    source = ScriptedTransport(identity, [old, 1.5, old], clock=clock)

    outcome = record_trial(source, tmp_path / "t.h5", rig=rig, clock=clock)

    assert read_recording(outcome.path).syncs == ()


def test_which_way_it_plays_can_be_chosen(recorded: RecordOutcome, tmp_path: Path) -> None:
    url = f"replay:{recorded.path}"

    assert type(transport_for(url)) is ReplayBytesPort
    assert type(transport_for(f"{url}?raw=yes&speed=2")) is ReplayBytesPort
    assert type(transport_for(f"{url}?raw=no")) is not ReplayBytesPort
    with pytest.raises(PortError, match="raw='maybe' will not do: yes or no"):
        transport_for(f"{url}?raw=maybe")
    raw_log_path(recorded.path).unlink()
    assert type(transport_for(url)) is not ReplayBytesPort
    with pytest.raises(PortError, match="has no raw log beside it"):
        transport_for(f"{url}?raw=yes")


def test_a_log_that_is_none_is_a_port_that_cannot_be_opened(recorded: RecordOutcome) -> None:
    raw_log_path(recorded.path).write_bytes(b"something else")

    with pytest.raises(PortError, match="is no raw log"):
        transport_for(f"replay:{recorded.path}").open()


def test_nothing_is_left_of_a_log_whose_recording_never_began(
    identity: Identity, rig: RigDescription, tmp_path: Path, clock: ManualClock
) -> None:
    source = ScriptedTransport(identity, [], clock=clock, opens=[PortError("no permission")])

    with pytest.raises(PortError):
        record_trial(source, tmp_path / "t.h5", rig=rig, raw_log=True, clock=clock)

    assert list(tmp_path.iterdir()) == []
