"""What goes into a recording comes out of it, every bit."""

from __future__ import annotations

import json
import stat
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquisition.clock import ManualClock
from acquisition.recording import layout
from acquisition.recording.layout import TableSpec, text_dtype
from acquisition.recording.model import Event, LinkCounts, TrialLabel
from acquisition.recording.reader import content_sha256, read_recording, read_wire, wire_blocks
from acquisition.recording.salvage import salvage
from acquisition.recording.verify import verify_recording
from acquisition.rig import RigDescription
from firmware_protocol.messages import Fault, FaultCode, Identity, StreamSpec

pytestmark = pytest.mark.usefixtures("identity")


def test_everything_known_beforehand_comes_back(
    make_writer: Any, identity: Identity, rig: RigDescription
) -> None:
    path = make_writer().close()

    recording = read_recording(path)

    assert recording.identity == identity
    assert recording.rig == rig
    assert json.loads(recording.target_json) == {"cone_deg": 10.0}
    assert recording.label == TrialLabel("T07", "with_feedback", "first try")
    assert recording.started_utc == "2026-01-01T00:00:00.000+00:00"
    assert recording.status == "complete"
    assert recording.software.startswith("perpend")
    assert recording.source == path


def test_samples_come_back_bit_for_bit(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, imu_spec: StreamSpec
) -> None:
    writer = make_writer()
    blocks = [make_block(force_spec, first, 20) for first in range(0, 2000, 20)]
    blocks += [make_block(imu_spec, first, 4) for first in range(0, 400, 4)]
    for block in sorted(blocks, key=lambda block: block.arrival_ns):
        writer.on_block(block)

    recording = read_recording(writer.close())

    force = recording.streams["force"]
    assert force.spec == force_spec
    assert np.array_equal(force.sample_number, np.arange(2000))
    assert np.array_equal(force.device_time_us, np.arange(2000) * 1000)
    assert np.array_equal(force.counts[:, 1], (np.arange(2000) * 10 + 1) % 2**15)
    assert np.array_equal(force.arrival_ns, np.repeat(np.arange(20, 2001, 20) * 1_000_000, 20))
    assert np.array_equal(force.segment, np.zeros(2000))
    assert force.counts.dtype == np.int32
    assert len(recording.streams["imu"].counts) == 400


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(cut=st.lists(st.tuples(st.integers(1, 40), st.integers(0, 5)), min_size=1, max_size=30))
def test_any_cut_into_blocks_and_any_gaps_come_back(
    tmp_path: Path, make_writer: Any, make_block: Any, imu_spec: StreamSpec, cut: list[Any]
) -> None:
    (tmp_path / "cut.h5").unlink(missing_ok=True)
    writer = make_writer("cut.h5")
    number, blocks = 2**32 - 30, []  # the wire's own counter wraps on the way
    for count, gap in cut:
        blocks.append(make_block(imu_spec, number, count, segment=gap % 2))
        number += count + gap
        writer.on_block(blocks[-1])

    stream = read_recording(writer.close()).streams["imu"]

    numbers = [np.arange(len(block)) + block.sample_number for block in blocks]
    assert np.array_equal(stream.sample_number, np.concatenate(numbers))
    assert np.array_equal(stream.counts, np.concatenate([block.counts for block in blocks]))
    times = np.concatenate([block.device_time_us for block in blocks])
    assert np.array_equal(stream.device_time_us, times)


def test_events_faults_and_accounts_come_back(make_writer: Any, clock: ManualClock) -> None:
    writer = make_writer()
    events = (Event(5, 0, "mark", "hand on — nun"), Event(2**62, 2**61, "lost", "the line " * 9))
    fault = Fault(123, FaultCode.IMU_SILENT, 2, "no answer for 50 ms")
    writer.on_step(LinkCounts(frames=10, bad_frames=3))
    for event in events:
        writer.on_event(event)
    writer.on_fault(fault)
    writer.on_step(LinkCounts(frames=110, bad_frames=4, lost_samples=20, reordered_samples=5))

    recording = read_recording(writer.close("stopped: the line was cut"))

    assert recording.events == events
    assert recording.faults == (fault,)
    assert recording.counts == LinkCounts(100, 1, lost_samples=20, reordered_samples=5)
    assert recording.status == "stopped: the line was cut"


def test_a_file_from_before_reordering_was_counted_is_read_verified_and_rescued(
    make_writer: Any,
    make_block: Any,
    force_spec: StreamSpec,
    clock: ManualClock,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its accounts have one column less; its content hash is of what stands there."""
    older = TableSpec("/link", layout.EARLIER_LINK_DTYPE, 0, layout.LINK.chunk_rows)
    with monkeypatch.context() as then:
        then.setattr(layout, "LINK", older)
        then.setattr(layout, "LINK_FIELDS", layout.LINK_FIELDS[:-1])
        writer = make_writer()
        writer.on_step(LinkCounts())
        for first in (0, 40):
            writer.on_block(make_block(force_spec, first))
            clock.advance(1.0)
            writer.on_step(LinkCounts(frames=first + 1, lost_samples=first // 2))
        path = writer.close()

    rescued = salvage(path, tmp_path / "rescued.h5").path

    for file in (path, rescued):
        assert read_recording(file).counts == LinkCounts(frames=41, lost_samples=20)
        assert not read_recording(file).changed
        assert verify_recording(file).faults == ()
        assert verify_recording(file).missing == ("20 samples were lost on the line",)


def test_a_text_too_long_for_its_place_is_cut_with_an_ellipsis(make_writer: Any) -> None:
    writer = make_writer()
    writer.on_event(Event(0, 0, "note", "ä" * 2000))

    (event,) = read_recording(writer.close()).events

    assert event.text == "ä" * 498 + "…"


def test_arrays_of_a_recording_cannot_be_changed(
    make_writer: Any, make_block: Any, force_spec: StreamSpec
) -> None:
    writer = make_writer()
    writer.on_block(make_block(force_spec, 0))
    counts = read_recording(writer.close()).streams["force"].counts

    with pytest.raises(ValueError, match="read-only"):
        counts[0, 0] = 1


def test_streams_nobody_knows_are_recorded_all_the_same(
    make_writer: Any, make_block: Any, identity: Identity
) -> None:
    odd = StreamSpec(9, "../../etc", identity.streams[1].sample_type, 10.0, (
        identity.streams[1].channels[0],))  # fmt: skip
    strange = Identity(1, 1, 0, "", "RIG-01", 0, (*identity.streams, odd))
    writer = make_writer(identity=strange)
    writer.on_block(make_block(odd, 0, 7))

    recording = read_recording(writer.close())

    assert len(recording.streams["../../etc"].counts) == 7


def test_the_wire_s_own_blocks_come_back_in_order_of_arrival(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, imu_spec: StreamSpec
) -> None:
    writer = make_writer()
    blocks = [
        make_block(force_spec, 0, 20, arrival_ns=10),
        make_block(imu_spec, 0, 4, arrival_ns=20),
        make_block(force_spec, 20, 20, arrival_ns=30),
        make_block(force_spec, 0, 20, arrival_ns=40, segment=1),
    ]
    for block in blocks:
        writer.on_block(block)

    _, streams = read_wire(writer.close())

    found = [(wire.arrival_ns, wire.segment, wire.block) for wire in wire_blocks(streams)]
    assert found == [
        (block.arrival_ns, block.segment, raw) for block in blocks for raw in block.wire_blocks()
    ]


def test_a_recording_can_be_read_by_its_owner_only(make_writer: Any) -> None:
    writer = make_writer()
    assert stat.S_IMODE(writer.part.stat().st_mode) == 0o600

    path = writer.close()

    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert not writer.part.exists()


def test_the_hash_of_the_content_is_written_and_can_be_worked_out_again(
    make_writer: Any, make_block: Any, force_spec: StreamSpec
) -> None:
    writer = make_writer()
    for first in range(0, 3000, 20):
        writer.on_block(make_block(force_spec, first))
    path = writer.close()
    with h5py.File(path, "r") as file:
        written = file.attrs["content_sha256"].decode()

    assert len(written) == 64
    assert content_sha256(path) == written


@pytest.mark.parametrize(
    "change",
    [
        lambda file: file["/streams/force/counts"].__setitem__((7, 1), 4711),
        lambda file: file["/streams/force/blocks"].resize(0, axis=0),
        lambda file: file.attrs.modify("note", np.array(b"other", dtype=text_dtype(9))),
        lambda file: file.attrs.modify("started_ns", 99),
    ],
    ids=["a sample", "the blocks", "the note", "the start"],
)
def test_any_change_of_the_content_changes_its_hash(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, change: Any
) -> None:
    writer = make_writer()
    writer.on_block(make_block(force_spec, 0))
    path = writer.close()
    before = content_sha256(path)
    with h5py.File(path, "r+") as file:
        change(file)

    assert content_sha256(path) != before


def test_the_file_is_in_the_oldest_format_and_not_compressed(make_writer: Any) -> None:
    path = make_writer().close()

    with h5py.File(path, "r") as file:
        assert file.id.get_create_plist().get_version()[0] == 0  # superblock
        assert file["/streams/force/counts"].compression is None
    assert path.read_bytes()[8] == 0


def test_the_time_of_the_first_sample_and_the_last_are_the_rig_s(
    make_writer: Any, make_block: Any, imu_spec: StreamSpec
) -> None:
    writer = make_writer()
    writer.on_block(make_block(imu_spec, 0, 1))
    writer.on_block(make_block(imu_spec, 1, 3))

    times = read_recording(writer.close()).streams["imu"].device_time_us

    assert times.tolist() == [0, 5000, 10000, 15000]
