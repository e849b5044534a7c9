"""A recording played back is recorded again, the same."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from acquisition.clock import ManualClock
from acquisition.errors import PortError, TransportLost
from acquisition.record import record_trial
from acquisition.recording.reader import read_recording
from acquisition.rig import RigDescription
from acquisition.session import Session
from acquisition.transports import transport_for
from acquisition.transports.replay import ReplayPort
from firmware_protocol.messages import StreamSpec


@pytest.fixture
def trial(make_writer: Any, make_block: Any, force_spec: StreamSpec, imu_spec: StreamSpec) -> Path:
    """A gap of 40 samples, begun in mid-stream, and a second segment."""
    writer = make_writer()
    for first in [*range(5000, 6000, 20), *range(6040, 7000, 20)]:
        writer.on_block(make_block(force_spec, first))
    for first in range(1000, 1400, 4):
        writer.on_block(make_block(imu_spec, first, 4))
    for first in range(0, 400, 20):
        block = make_block(force_spec, first, segment=1, arrival_ns=10**10 + first * 1000)
        writer.on_block(block)
    path: Path = writer.close()
    return path


def test_what_is_played_back_is_what_was_recorded(
    trial: Path, tmp_path: Path, rig: RigDescription
) -> None:
    outcome = record_trial(f"replay:{trial}?speed=max", tmp_path / "again.h5", rig=rig)

    before, after = read_recording(trial), read_recording(outcome.path)
    for name, stream in before.streams.items():
        again = after.streams[name]
        assert np.array_equal(again.counts, stream.counts)
        assert np.array_equal(again.device_time_us, stream.device_time_us)
        assert np.array_equal(again.segment, stream.segment)
        for segment in (0, 1):
            mine = stream.sample_number[stream.segment == segment]
            its = again.sample_number[again.segment == segment]
            assert np.array_equal(its - its[:1], mine - mine[:1])  # the gaps stay
    assert outcome.counts.lost_samples == 40
    assert [event.kind for event in after.events] == ["lost", "resumed"]
    assert outcome.status == "complete"


def test_it_is_paced_by_the_rig_s_clock(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, clock: ManualClock, collector: Any
) -> None:
    writer = make_writer()
    for first in range(0, 4000, 20):
        writer.on_block(make_block(force_spec, first, arrival_ns=0))  # recorded in no time
    port = ReplayPort("replay:x", writer.close(), speed=2.0, clock=clock)
    session = Session(port, clock=clock)
    session.add_sink(collector)

    while not session.state.ended:
        clock.advance(session.step())

    assert len(collector.blocks) == 200
    assert clock.now_ns() == pytest.approx(2.0e9, rel=0.05)
    # Nothing of the other stream was recorded; a status each second keeps the line alive.
    assert collector.kinds == ["silent"]
    assert "'imu'" in collector.events[0].text


def test_a_recording_without_samples_comes_to_its_end(
    make_writer: Any, clock: ManualClock, collector: Any
) -> None:
    port = ReplayPort("replay:x", make_writer().close(), clock=clock)
    session = Session(port, clock=clock)

    session.connect()
    while not session.state.ended:
        clock.advance(session.step())

    assert session.status == "complete"


def test_a_file_that_cannot_be_played_back_is_a_port_that_cannot_be_opened(
    tmp_path: Path, make_writer: Any, make_block: Any, force_spec: StreamSpec
) -> None:
    with pytest.raises(PortError, match=r"cannot be played back: .*no such file"):
        transport_for(f"replay:{tmp_path / 'none.h5'}").open()

    writer = make_writer()
    writer.on_block(make_block(force_spec, 0, 200))
    path = writer.close()
    with pytest.raises(PortError, match="blocks longer than a frame"):
        transport_for(f"replay:{path}").open()


def test_a_closed_playback_is_lost_not_broken(trial: Path) -> None:
    port = transport_for(f"replay:{trial}")

    with pytest.raises(TransportLost, match="not open"):
        port.read()
    with h5py.File(trial, "r+"):  # nobody holds it
        pass
