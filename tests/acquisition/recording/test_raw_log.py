"""The raw log beside a recording: torn ends, hostile files, and all who handle recordings."""

from __future__ import annotations

import os
import re
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition.clock import ManualClock
from acquisition.errors import RecordingError
from acquisition.record import RecordOutcome, record_trial
from acquisition.recording.forget import delete, recode, trace_of
from acquisition.recording.model import TrialLabel
from acquisition.recording.raw_log import (
    Entry,
    Kind,
    RawLog,
    RawLogWriter,
    entry_bytes,
    find_raw_log,
    raw_log_path,
    raw_log_state,
)
from acquisition.recording.salvage import salvage
from acquisition.recording.verify import verify_recording
from acquisition.rig import RigDescription
from acquisition.transports.scripted import ScriptedTransport
from firmware_protocol.messages import Identity, StreamSpec

RECORDER = """
import sys
from pathlib import Path
from acquisition.record import record_trial
from acquisition.virtual_rig import default_rig

def tell(so_far):
    print(so_far.seconds, flush=True)

url = "virtual:?trainee=T03&reps=0"
record_trial(url, Path(sys.argv[1]), rig=default_rig(), raw_log=True, progress=tell)
"""


@pytest.fixture
def recorded(
    make_raw: Any,
    force_spec: StreamSpec,
    identity: Identity,
    rig: RigDescription,
    tmp_path: Path,
    clock: ManualClock,
) -> RecordOutcome:
    blocks = [make_raw(force_spec, first) for first in range(0, 400, 20)]
    source = ScriptedTransport(identity, blocks, clock=clock)
    label = TrialLabel("T07")
    out = tmp_path / "x_T07.h5"
    return record_trial(source, out, rig=rig, label=label, raw_log=True, clock=clock)


def entries(path: Path) -> list[Entry]:
    return list(RawLog(path))


def test_it_is_its_owner_s_only_and_closed_as_its_recording(recorded: RecordOutcome) -> None:
    log = recorded.path.with_suffix(".raw")

    assert stat.S_IMODE(log.stat().st_mode) == 0o600
    assert entries(log)[-1].kind is Kind.END
    assert sorted(path.name for path in log.parent.iterdir()) == ["x_T07.h5", "x_T07.raw"]
    assert verify_recording(recorded.path).whole


@pytest.mark.parametrize("cut", [1, 5, 40])
def test_a_torn_end_is_found_and_what_comes_before_is_had(
    recorded: RecordOutcome, cut: int
) -> None:
    log = raw_log_path(recorded.path)
    whole = entries(log)
    log.write_bytes(log.read_bytes()[:-cut])

    again = RawLog(log)
    kept = list(again)

    assert kept == whole[: len(kept)]
    assert len(whole) - len(kept) <= 3
    assert re.search(r"is not whole from byte \d+ on: \d+ bytes are left out", again.torn)
    (fault,) = verify_recording(recorded.path).faults
    assert fault.startswith(f"raw log {log} is not whole from byte")


@given(at=st.integers(0, 10_000), bit=st.integers(0, 7))
def test_a_changed_bit_never_becomes_a_byte_of_the_line(
    tmp_path_factory: pytest.TempPathFactory, at: int, bit: int
) -> None:
    path = tmp_path_factory.mktemp("log") / "x.raw"
    true = [Entry(Kind.READ, 1000 * n, bytes([n]) * n) for n in range(20)]
    data = bytearray(
        b"".join(map(entry_bytes, [Entry(Kind.FORMAT, 0, b"perpend-raw-log 1"), *true]))
    )
    data[at % len(data)] ^= 1 << bit
    path.write_bytes(data)

    try:
        kept = entries(path)
    except RecordingError:
        kept = []

    assert kept == true[: len(kept)]


def test_a_length_that_no_entry_has_is_not_allocated(tmp_path: Path) -> None:
    path = tmp_path / "x.raw"
    bomb = b"\x03\xff\xff\xff\xff" + bytes(8)
    path.write_bytes(entry_bytes(Entry(Kind.FORMAT, 0, b"perpend-raw-log 1")) + bomb)

    assert entries(path) == []
    with pytest.raises(RecordingError, match="cannot be read"):
        entries(tmp_path / "none.raw")


def test_a_log_of_another_recording_is_a_fault_and_a_missing_one_is_told(
    recorded: RecordOutcome, make_writer: Any
) -> None:
    log = raw_log_path(recorded.path)
    other = make_writer("other.h5").close()
    log.rename(raw_log_path(other))

    (fault,) = verify_recording(other).faults
    assert fault.endswith("belongs to another recording")
    missing = verify_recording(recorded.path).missing
    assert missing == ("the raw log of its bytes is not beside it any more",)


def test_a_killed_recorder_leaves_a_log_that_is_saved_with_its_recording(tmp_path: Path) -> None:
    with subprocess.Popen(  # noqa: S603, RUF100 - our own interpreter and text
        [sys.executable, "-c", RECORDER, str(tmp_path / "t.h5")], stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        for line in child.stdout:
            if float(line) > 0.5:
                break
        child.kill()
    part = tmp_path / "t.h5.part"
    assert verify_recording(part).faults == ()
    assert any("raw log" in one for one in verify_recording(part).missing)

    saved = salvage(part, tmp_path / "t.h5")

    assert saved.raw_bytes is not None
    assert saved.raw_bytes > 10_000
    assert raw_log_state(tmp_path / "t.raw").torn == ""
    assert verify_recording(saved.path).faults == ()
    assert find_raw_log(part) == tmp_path / "t.raw"
    with pytest.raises(RecordingError, match="exists already"):
        salvage(part, tmp_path / "t.h5")


def test_forgetting_takes_the_log_along(recorded: RecordOutcome) -> None:
    folder = recorded.path.parent

    delete(trace_of("T07", folder))

    assert list(folder.iterdir()) == []


def test_a_new_code_gives_the_log_its_new_name(recorded: RecordOutcome) -> None:
    folder, before = recorded.path.parent, entries(raw_log_path(recorded.path))

    (path,) = recode(trace_of("T07", folder), "T55", folder)

    assert sorted(one.name for one in folder.iterdir()) == ["x_T55.h5", "x_T55.raw"]
    assert entries(raw_log_path(path)) == before
    assert b"T07" not in raw_log_path(path).read_bytes()
    assert verify_recording(path).whole


def test_a_name_that_is_taken_is_refused(recorded: RecordOutcome, clock: ManualClock) -> None:
    with pytest.raises(RecordingError, match=r"x_T07\.raw: exists already"):
        RawLogWriter(recorded.path, clock=clock)


def test_a_disk_that_takes_no_more_ends_the_recording_loudly(
    make_raw: Any,
    force_spec: StreamSpec,
    identity: Identity,
    rig: RigDescription,
    tmp_path: Path,
    clock: ManualClock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    real, left = os.write, [6000]

    def nearly_full(descriptor: int, data: bytes) -> int:
        if left[0] <= 0:
            raise OSError(28, "No space left on device")
        took = real(descriptor, data[: left[0]])
        left[0] -= took
        return took

    monkeypatch.setattr("acquisition.recording.raw_log.os.write", nearly_full)
    blocks = [make_raw(force_spec, first) for first in range(0, 4000, 20)]
    source = ScriptedTransport(identity, blocks, clock=clock)

    with pytest.raises(RecordingError, match="the raw log cannot be written \\(No space left"):
        record_trial(source, tmp_path / "t.h5", rig=rig, raw_log=True, clock=clock)

    assert verify_recording(tmp_path / "t.h5").faults == ()
    assert len(entries(tmp_path / "t.raw.part")) > 10
