"""What can be saved is saved, what cannot is said, and the broken file stays as it is."""

from __future__ import annotations

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
from acquisition.recording.model import LinkCounts, Recording
from acquisition.recording.reader import read_recording
from acquisition.recording.salvage import END_OF_FILE_ADDRESS_AT, Salvaged, salvage
from acquisition.recording.verify import verify_recording
from firmware_protocol.messages import StreamSpec

BLOCKS = "/streams/force/blocks"
SAMPLES = 16_000
RECORDER = """
import sys
from pathlib import Path
from acquisition.record import record_trial
from acquisition.virtual_rig import default_rig

def tell(so_far):
    print(so_far.seconds, flush=True)

record_trial("virtual:?trainee=T03&reps=0", Path(sys.argv[1]), rig=default_rig(), progress=tell)
"""


@pytest.fixture
def trial(make_writer: Any, make_block: Any, force_spec: StreamSpec, clock: ManualClock) -> Path:
    writer = make_writer()
    for first in range(0, SAMPLES, 100):
        writer.on_block(make_block(force_spec, first, 100))
        clock.advance(0.1)
    writer.on_step(LinkCounts())
    writer.on_step(LinkCounts(frames=SAMPLES // 100))
    path: Path = writer.close()
    return path


def rescued(source: Path) -> tuple[Salvaged, Recording]:
    """Salvage; check that the source is untouched and the result in order and all true."""
    before = source.read_bytes()
    saved = salvage(source, source.with_name("new.h5"))
    assert source.read_bytes() == before
    assert verify_recording(saved.path).faults == ()
    recording = read_recording(saved.path)
    force = recording.streams["force"]
    truth = force.sample_number[:, None] * 10 + np.arange(3)
    assert np.array_equal(force.counts, truth % 2**15)
    assert np.array_equal(force.device_time_us, force.sample_number * 1000)
    return saved, recording


def test_a_whole_file_comes_out_as_it_was(trial: Path) -> None:
    saved, recording = rescued(trial)

    assert saved.lost == ()
    assert saved.samples == (("force", SAMPLES), ("imu", 0))
    assert recording.status == "complete"
    assert recording.uuid == read_recording(trial).uuid
    assert saved.path.stat().st_mode & 0o777 == 0o600


def test_a_really_killed_recorder_is_saved(tmp_path: Path) -> None:
    child = subprocess.Popen(  # noqa: S603, RUF100 - our own interpreter and text
        [sys.executable, "-c", RECORDER, str(tmp_path / "t.h5")], stdout=subprocess.PIPE, text=True
    )
    with child:
        assert child.stdout is not None
        next(line for line in child.stdout if float(line) > 0.6)
        child.kill()
    part = tmp_path / "t.h5.part"
    left = read_recording(part)

    saved = salvage(part, tmp_path / "new.h5")

    recording = read_recording(saved.path)
    assert recording.status == "stopped: its recorder was killed; salvaged from t.h5.part"
    assert "never closed" in saved.lost[0]
    assert verify_recording(saved.path).faults == ()
    for name, stream in recording.streams.items():
        assert len(stream.counts) > 0
        assert np.array_equal(stream.counts, left.streams[name].counts)
        assert np.array_equal(stream.arrival_ns, left.streams[name].arrival_ns)


@pytest.mark.parametrize("told", [0, 500, 100_000, 1 << 40])
def test_a_wrong_end_of_file_address_is_corrected(trial: Path, told: int) -> None:
    data = bytearray(trial.read_bytes())
    struct.pack_into("<Q", data, END_OF_FILE_ADDRESS_AT, told)
    trial.write_bytes(bytes(data))

    saved, _ = rescued(trial)

    assert saved.samples[0] == ("force", SAMPLES)


def test_a_file_cut_short_keeps_what_is_before_the_cut(trial: Path) -> None:
    data = trial.read_bytes()
    trial.write_bytes(data[: len(data) - 60_000])
    with pytest.raises(RecordingError, match="is damaged"):
        read_recording(trial)

    saved, recording = rescued(trial)

    assert SAMPLES // 2 < saved.samples[0][1] < SAMPLES
    assert "is not what it was closed with" in saved.lost[0]
    assert recording.status == "stopped: it was damaged; salvaged from trial.h5"


@pytest.mark.parametrize("turn", range(40))
def test_a_file_torn_anywhere_gives_true_rows_or_one_clear_line(trial: Path, turn: int) -> None:
    chance = random.Random(turn)
    data = bytearray(trial.read_bytes())
    if turn % 2:
        del data[chance.randrange(len(data)) :]
    else:
        at = chance.randrange(len(data))
        data[at : at + 512] = chance.randbytes(len(data[at : at + 512]))
    trial.write_bytes(bytes(data))

    refusal = ""
    try:
        rescued(trial)
    except RecordingError as error:  # one or the other
        refusal = str(error)

    assert "\n" not in refusal
    assert refusal.startswith(str(trial)) or not refusal
    assert trial.with_name("new.h5").exists() is not bool(refusal)


def test_one_block_lying_about_its_size_costs_only_itself(trial: Path) -> None:
    with h5py.File(trial, "r+") as file:
        blocks = file[BLOCKS][:]
        blocks["sample_count"][7] = 90
        file[BLOCKS][:] = blocks

    saved, recording = rescued(trial)

    assert saved.samples[0] == ("force", SAMPLES - 100)
    assert "stream 'force': 1 blocks are not whole" in saved.lost
    assert recording.counts.lost_samples == 100


def test_a_table_that_is_gone_is_told_and_the_rest_kept(trial: Path) -> None:
    with h5py.File(trial, "r+") as file:
        del file["/events"]

    saved, _ = rescued(trial)

    assert "/events cannot be read (is damaged (/events is missing))" in saved.lost
    assert saved.samples[0] == ("force", SAMPLES)


def test_a_file_without_one_whole_block_is_not_saved(make_writer: Any, tmp_path: Path) -> None:
    path = make_writer().close()

    with pytest.raises(RecordingError, match="holds not one whole block; nothing can be saved"):
        salvage(path, tmp_path / "new.h5")


def test_nothing_is_overwritten(trial: Path, tmp_path: Path) -> None:
    (tmp_path / "new.h5").write_bytes(b"precious")

    with pytest.raises(RecordingError, match=r"new\.h5: exists already"):
        salvage(trial, tmp_path / "new.h5")
    with pytest.raises(RecordingError, match="exists already"):
        salvage(trial, trial)

    assert (tmp_path / "new.h5").read_bytes() == b"precious"


def test_a_file_being_recorded_is_left_alone(make_writer: Any, clock: ManualClock) -> None:
    writer = make_writer()

    with pytest.raises(RecordingError, match="is being recorded right now"):
        salvage(writer.part, writer.part.with_name("new.h5"))


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"time_s,fx_n", "is not a recording"),
        (b"", "is not a recording"),
        (b"\x89HDF\r\n\x1a\n", "first bytes are no good"),
        (b"\x89HDF\r\n\x1a\n\0\0\0\0\0\x08\x08\0" + b"\xff" * 900, "is damaged"),
    ],
)
def test_what_cannot_be_saved_is_said(tmp_path: Path, content: bytes, what: str) -> None:
    (tmp_path / "x.h5").write_bytes(content)

    with pytest.raises(RecordingError, match=what):
        salvage(tmp_path / "x.h5", tmp_path / "new.h5")
