"""A disk that is really full, a folder that is really gone, a permission that is really missing.

A recorder in a process of its own, on a small disk in memory where one may be mounted.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.errors import RecordingError
from acquisition.recording.reader import read_recording
from acquisition.recording.salvage import salvage
from acquisition.recording.verify import verify_recording
from acquisition.transports import transport_for

URL = "virtual:?trainee=T03&seed=7&reps=0&speed=max"
RECORDER = f"""
import os, shutil, sys, tempfile
from pathlib import Path
from acquisition.errors import AcquisitionError
from acquisition.record import record_trial
from acquisition.recording.writer import RecordingWriter
from acquisition.virtual_rig import default_rig

what, out = sys.argv[1], Path(sys.argv[2])
rig = default_rig()

def fill(leave_bytes):
    with open(out.parent / "ballast", "wb") as file:
        left = shutil.disk_usage(out.parent).free - leave_bytes
        os.posix_fallocate(file.fileno(), 0, left)

done = []
def tell(so_far):
    part = out.with_name(out.name + ".part")
    if not done and part.stat().st_size > 2 << 20:  # it was flushed before
        done.append(True)
        if what == "nearly":
            fill(17 << 20)
        elif what == "full":
            fill(0)
        elif what == "gone":
            shutil.rmtree(out.parent)

if what == "full":  # as if the space had gone between the look and the write
    RecordingWriter.__init__.__kwdefaults__["free_bytes"] = lambda _: 1 << 40
if what == "forbidden":
    with tempfile.TemporaryDirectory() as folder:  # all is imported, as far as we may read it
        record_trial({URL!r}, Path(folder) / "x.h5", rig=rig, seconds=1.0)
    os.setuid(65534)
try:
    outcome = record_trial({URL!r}, out, rig=rig, progress=tell)
except AcquisitionError as error:
    print(f"said: {{error}}", flush=True)
    sys.exit(1)
print("ended as if nothing had been:", outcome.status)
"""

as_root = pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root may do this"
)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 72 MiB in memory."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount, umount = shutil.which("mount"), shutil.which("umount")
    if mount is None or umount is None or os.geteuid() != 0:
        pytest.skip("only root may mount a small disk")
    order = [mount, "-t", "tmpfs", "-o", "size=72m", "tmpfs", str(folder)]
    done = subprocess.run(order, capture_output=True, text=True, check=False)  # noqa: S603, RUF100 - our own words
    if done.returncode:
        pytest.skip(f"no small disk can be mounted here: {done.stderr.strip()}")
    yield folder
    subprocess.run([umount, "-l", str(folder)], check=True)  # noqa: S603, RUF100 - likewise


def recorder(what: str, out: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(  # noqa: S603, RUF100 - our own interpreter and text
        [sys.executable, "-c", RECORDER, what, str(out)],
        capture_output=True,
        text=True,
        timeout=55,
        check=False,
    )


def assert_as_sent(path: Path, least_s: float) -> None:
    port: Any = transport_for(URL)
    recording = read_recording(path)
    sent: dict[str, Callable[[int, int], Any]] = {
        "force": port.virtual_rig.force_counts,
        "imu": port.virtual_rig.imu_counts,
    }
    for name, stream in recording.streams.items():
        assert len(stream.counts) / stream.spec.rate_hz > least_s
        assert np.array_equal(stream.counts, sent[name](0, len(stream.counts)))


def test_a_disk_that_fills_up_ends_the_recording_while_it_can_be_closed(small_disk: Path) -> None:
    out = small_disk / "trial.h5"

    done = recorder("nearly", out)

    assert done.returncode == 1, done.stderr
    assert "16 needed; make room or record elsewhere" in done.stdout
    assert verify_recording(out).faults == ()
    assert_as_sent(out, 4.0)


def test_what_is_on_a_disk_that_is_full_stays_readable(small_disk: Path, tmp_path: Path) -> None:
    """HDF5 may crash at the exit of such a process; what was written is there all the same."""
    part = small_disk / "trial.h5.part"

    done = recorder("full", small_disk / "trial.h5")

    assert done.returncode != 0
    assert f"said: {part}: cannot be written (" in done.stdout
    assert "No space left on device" in done.stdout
    assert "`perpend salvage` makes a clean file of it" in done.stdout
    assert_as_sent(part, 4.0)
    with pytest.raises(RecordingError, match="only 0 MiB free on this disk"):
        salvage(part, small_disk / "new.h5")
    salvage(part, tmp_path / "new.h5")
    assert verify_recording(tmp_path / "new.h5").faults == ()
    assert_as_sent(tmp_path / "new.h5", 4.0)


def test_a_folder_that_vanishes_ends_the_recording_loudly(tmp_path: Path) -> None:
    folder = tmp_path / "day"
    folder.mkdir()

    done = recorder("gone", folder / "trial.h5")

    assert done.returncode == 1, done.stderr
    assert f"said: {folder}: is gone; if it was moved" in done.stdout


@as_root
def test_a_folder_of_somebody_else_is_refused(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    for folder in tmp_path.parents:
        if folder.name.startswith(("pytest-", "popen-")):
            folder.chmod(0o755)  # as far as the test's own folders go

    done = recorder("forbidden", tmp_path / "trial.h5")

    assert done.returncode == 1, done.stderr
    assert f"{tmp_path / 'trial.h5.part'}: cannot be made (Permission denied)" in done.stdout
    assert list(tmp_path.iterdir()) == []
