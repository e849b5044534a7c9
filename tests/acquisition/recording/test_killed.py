"""A real recorder, a child process, killed at random moments: what was recorded is there.

``PERPEND_KILLS`` says how often; the suite does it a few times.
"""

from __future__ import annotations

import os
import random
import struct
import subprocess
import sys
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from acquisition.clock import ManualClock
from acquisition.errors import RecordingError
from acquisition.record import record_trial
from acquisition.recording.model import LinkCounts, Recording
from acquisition.recording.reader import read_recording
from acquisition.recording.salvage import salvage
from acquisition.recording.verify import verify_recording
from acquisition.transports import transport_for
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig import default_rig
from firmware_protocol.messages import StreamSpec

URL = "virtual:?trainee=T03&seed=7&reps=0"
MISSING_AT_MOST_S = 1.0
END_OF_FILE_ADDRESS_AT = 40
"""In version 0 of the superblock, HDF5 file format specification, section II.A."""
RECORDER = f"""
import sys
from pathlib import Path
from acquisition.record import record_trial
from acquisition.virtual_rig import default_rig
from firmware_protocol.messages import StreamSpec

def tell(so_far):
    print(so_far.seconds, flush=True)

record_trial({URL!r}, Path(sys.argv[1]), rig=default_rig(), progress=tell)
"""


def kill_a_recorder(out: Path, after_s: float) -> float:
    """Record to *out*; kill when *after_s* are recorded; return the seconds last announced."""
    child = subprocess.Popen(  # noqa: S603, RUF100 - our own interpreter and text
        [sys.executable, "-c", RECORDER, str(out)], stdout=subprocess.PIPE, text=True
    )
    with child:
        assert child.stdout is not None
        announced = 0.0
        for line in child.stdout:
            announced = float(line)
            if announced >= after_s:
                break
        child.kill()
        return float(([*child.stdout] or [announced])[-1])


def assert_nothing_differs(recording: Recording) -> None:
    port = transport_for(URL)
    assert isinstance(port, VirtualPort)
    sent = {
        "force": port.virtual_rig.force_counts,
        "imu": port.virtual_rig.imu_counts,
    }
    for name, stream in recording.streams.items():
        assert np.array_equal(stream.sample_number, np.arange(len(stream.counts)))
        assert np.array_equal(stream.counts, sent[name](0, len(stream.counts)))


@pytest.mark.parametrize("turn", range(int(os.environ.get("PERPEND_KILLS", "4"))))
def test_a_killed_recorder_leaves_all_but_the_last_moment(tmp_path: Path, turn: int) -> None:
    out = tmp_path / "trial.h5"
    announced_s = kill_a_recorder(out, random.Random(turn).uniform(0.0, 1.2))

    recording = read_recording(tmp_path / "trial.h5.part")

    assert recording.status == "recording"
    for stream in recording.streams.values():
        recorded_s = len(stream.counts) / stream.spec.rate_hz
        assert recorded_s > announced_s - MISSING_AT_MOST_S
    assert_nothing_differs(recording)
    assert not out.exists()
    if any(len(stream.counts) for stream in recording.streams.values()):
        saved = salvage(tmp_path / "trial.h5.part", out)
        assert verify_recording(saved.path).faults == ()
        assert_nothing_differs(read_recording(saved.path))


def test_what_a_killed_recorder_left_is_not_overwritten_and_pointed_at(tmp_path: Path) -> None:
    out = tmp_path / "trial.h5"
    kill_a_recorder(out, 0.3)
    left = (tmp_path / "trial.h5.part").read_bytes()

    with pytest.raises(RecordingError, match="left by a recorder that was killed"):
        record_trial(URL, out, rig=default_rig())
    with pytest.raises(RecordingError, match=r"no such file; .*trial\.h5\.part is there"):
        read_recording(out)
    assert (tmp_path / "trial.h5.part").read_bytes() == left


def test_a_block_torn_by_the_kill_is_left_out_and_shows_as_lost(tmp_path: Path) -> None:
    out = tmp_path / "trial.h5"
    kill_a_recorder(out, 0.5)
    part = tmp_path / "trial.h5.part"
    whole = read_recording(part).streams["force"]
    with h5py.File(part, "r+") as file:
        file["/streams/force/counts"][105, 1] ^= 0x10  # one bit of one block
        file["/streams/force/blocks"].resize(len(file["/streams/force/blocks"]) + 3, axis=0)

    torn = read_recording(part).streams["force"]

    kept = np.isin(whole.sample_number, torn.sample_number)
    assert 0 < np.count_nonzero(~kept) <= 20
    assert not kept[105]
    assert np.array_equal(torn.counts, whole.counts[kept])
    assert np.array_equal(torn.device_time_us, whole.device_time_us[kept])


def test_rows_without_their_block_are_left_out(tmp_path: Path) -> None:
    out = tmp_path / "trial.h5"
    kill_a_recorder(out, 0.3)
    part = tmp_path / "trial.h5.part"
    whole = read_recording(part).streams["imu"]
    with h5py.File(part, "r+") as file:
        counts = file["/streams/imu/counts"]
        counts.resize(len(counts) + 100, axis=0)  # never written: HDF5 would read zeros

    assert len(read_recording(part).streams["imu"].counts) == len(whole.counts)


def test_a_chunk_the_file_does_not_yet_call_its_own_costs_only_itself(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, clock: ManualClock
) -> None:
    """A kill between the write of a new chunk and that of the file's end, met in 1 of 350."""
    writer = make_writer()
    for first in range(0, 8400, 100):  # a chunk holds 8192
        writer.on_block(make_block(force_spec, first, 100))
        clock.advance(0.1)
    writer.on_step(LinkCounts())
    part = writer.part.with_name("copy.h5.part")
    part.write_bytes(writer.part.read_bytes())
    with h5py.File(part, "r") as file:
        newest = file["/streams/force/counts"].id.get_chunk_info(1).byte_offset
    data = bytearray(part.read_bytes())
    struct.pack_into("<Q", data, END_OF_FILE_ADDRESS_AT, newest)
    part.write_bytes(bytes(data))

    force = read_recording(part).streams["force"]

    assert np.array_equal(force.sample_number, np.arange(8100))
    assert np.array_equal(force.counts[:, 0], force.sample_number * 10 % 2**15)
