"""End to end: the compiled firmware behind a pseudo-terminal is recorded and analysed."""

from __future__ import annotations

import contextlib
import json
import re
import select
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.clock import SystemClock
from acquisition.console import RigConsole
from acquisition.record import RecordOutcome, record_trial
from acquisition.recording.model import Recording
from acquisition.recording.reader import read_recording
from acquisition.recording.verify import verify_recording
from acquisition.rig import RigDescription, load_rig
from acquisition.rig_store import fetch_description, save_description
from acquisition.transports import transport_for
from acquisition.transports.base import Transport
from analysis.pipeline import analyse
from analysis.trial import PhaseName, Severity, Trial
from firmware_protocol import messages as m
from firmware_protocol.codec import Malformed
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import FrameFault
from ui.cli.exit_codes import FAILED
from ui.cli.main import main

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are a Unix thing", allow_module_level=True)

SPEED = 10.0
LONGEST_S = 30.0
WRAP_IN_US = 9_000_000
"""The tick wraps in mid-raise, when the recording is some seconds old."""


@dataclass(frozen=True)
class Desktop:
    url: str
    pushes: dict[str, float]


@pytest.fixture(scope="module")
def program(build: Callable[..., Path], core: list[Path]) -> Path:
    reference = core[0].parent
    sources = [*reference.glob("*.c"), *(reference / "ports" / "desktop").glob("*.c")]
    return build("desktop", sources, "-DPERPEND_OUTBOX_BYTES=262144", "-lm")


@pytest.fixture(scope="module")
def rig(core: list[Path]) -> RigDescription:
    return load_rig(core[0].parent / "ports" / "desktop" / "rig_desktop.toml")


@contextlib.contextmanager
def switched_on(program: Path, *options: str) -> Iterator[Desktop]:
    """The process; leaving ends it, and sees that no sanitizer spoke."""
    pipe = subprocess.PIPE
    process = subprocess.Popen([program, *options], stdout=pipe, stderr=pipe, text=True)
    try:
        assert process.stdout is not None
        assert select.select([process.stdout], [], [], LONGEST_S)[0], "it never spoke"
        terminal = process.stdout.readline().strip()
        assert terminal, process.communicate(timeout=LONGEST_S)[1]
        told = re.findall(r"(\w+)=(\S+)", process.stdout.readline())
        yield Desktop(f"serial:{terminal}", {name: float(number) for name, number in told})
    finally:
        process.send_signal(signal.SIGTERM)
        _, complaint = process.communicate(timeout=LONGEST_S)
    assert (process.returncode, complaint) == (0, "")


@dataclass(frozen=True)
class Recorded:
    desktop: Desktop
    outcome: RecordOutcome
    recording: Recording
    trial: Trial


@pytest.fixture(scope="module")
def recorded(
    program: Path, rig: RigDescription, tmp_path_factory: pytest.TempPathFactory
) -> Recorded:
    out = tmp_path_factory.mktemp("desktop") / "trial.h5"
    tick = 2**32 - WRAP_IN_US
    with switched_on(program, "--speed", str(SPEED), "--tick", str(tick)) as desktop:
        outcome = record_trial(desktop.url, out, rig=rig, seconds=desktop.pushes["period_s"])
    recording = read_recording(out)
    return Recorded(desktop, outcome, recording, analyse(recording))


def test_nothing_is_lost_between_firmware_and_file(recorded: Recorded) -> None:
    counts = recorded.outcome.counts

    assert recorded.outcome.whole
    assert (counts.lost_samples, counts.rig_overrun_samples) == (0, 0)
    force, imu = recorded.recording.streams["force"], recorded.recording.streams["imu"]
    # A host that is late hears some blocks more before it ends.
    assert len(force.counts) == pytest.approx(22_000, abs=500)
    assert len(imu.counts) == pytest.approx(11_000, abs=250)
    assert recorded.recording.identity.rig_serial == "D01"


def test_device_time_is_even_across_the_wrap_of_the_tick(recorded: Recorded) -> None:
    grid_s = recorded.trial.series.time_s

    assert grid_s[-1] == pytest.approx(22.0, abs=0.5)
    assert not recorded.trial.series.missing.any()
    assert recorded.trial.recording["rates_hz"] == pytest.approx(
        {"force": 1000.0, "imu": 500.0}, rel=1e-4
    )


def test_one_repetition_is_found_whole_with_the_direction_that_is_pushed(
    recorded: Recorded,
) -> None:
    (repetition,) = recorded.trial.repetitions
    span, series = repetition.spans.movement.slice, recorded.trial.series
    pushes = recorded.desktop.pushes

    assert repetition.spans.complete
    azimuth_deg = np.rad2deg(series.azimuth_rad[span])
    superior_deg = np.rad2deg(series.superior_angle_rad[span])
    assert np.abs(azimuth_deg - pushes["azimuth_deg"]).max() < 1.0
    assert np.abs(superior_deg - pushes["superior_deg"]).max() < 1.0
    assert np.rad2deg(series.elevation_rad[span]).max() == pytest.approx(pushes["top_deg"], abs=1.0)
    movement = repetition.phases[PhaseName.MOVEMENT].values
    assert movement["force_mean_N"] == pytest.approx(pushes["force_n"], rel=0.02)


def test_the_recording_gives_no_reason_to_worry(recorded: Recorded) -> None:
    worse = {item.key for item in recorded.trial.quality if item.severity is Severity.WARNING}

    assert worse <= {"calibration_age"}  # of an invented cell, which grows older every day
    assert recorded.recording.faults == ()


class Line:
    """A line opened by hand: asks, and waits for the answer."""

    def __init__(self, port: Transport) -> None:
        self._port = port
        self._end = HostEnd()
        self._clock = SystemClock()

    def ask(self, kind: Callable[[int], m.HostMessage]) -> Any:
        self._port.write(self._end.ask(kind))
        last_ns = self._clock.now_ns() + int(LONGEST_S * 1e9)
        while self._clock.now_ns() < last_ns:
            for item in self._end.receive(self._port.read()):
                if isinstance(item, FrameFault | Malformed | m.SampleBlock | m.Status | m.Fault):
                    continue
                if item.request_id == self._end.last_request:
                    return item
        pytest.fail("no answer")


@contextlib.contextmanager
def line_to(desktop: Desktop) -> Iterator[Line]:
    port = transport_for(desktop.url)
    port.open()
    try:
        yield Line(port)
    finally:
        port.close()


def test_the_store_outlives_the_process(program: Path, tmp_path: Path) -> None:
    kept = tmp_path / "store"
    with switched_on(program, "--store", str(kept)) as desktop, line_to(desktop) as line:
        assert line.ask(lambda n: m.WriteStore(n, "rig.toml.0", b"[rig]\0")).outcome == 0
        assert line.ask(lambda n: m.WriteStore(n, "other", b"x" * 900)).outcome == 0
        assert line.ask(lambda n: m.WriteStore(n, "other", b"")).outcome == 0

    with switched_on(program, "--store", str(kept)) as desktop, line_to(desktop) as line:
        assert line.ask(lambda n: m.ReadStore(n, "rig.toml.0")).value == b"[rig]\0"
        assert line.ask(lambda n: m.ReadStore(n, "other")).value == b""
        assert line.ask(m.SelfTest).passed
        assert line.ask(lambda n: m.Configure(n, 1, 1e6, 0)).rate_hz == 1000.0


def test_the_boot_count_goes_up_with_every_start(program: Path, tmp_path: Path) -> None:
    counts = []
    for _ in range(3):
        with (
            switched_on(program, "--store", str(tmp_path / "kept")) as desktop,
            line_to(desktop) as line,
        ):
            counts.append(line.ask(m.Identify).boot_count)

    assert counts == [1, 2, 3]


def test_without_a_store_the_boot_count_is_another_one_at_every_start(program: Path) -> None:
    counts = []
    for _ in range(2):
        with switched_on(program) as desktop, line_to(desktop) as line:
            counts.append(line.ask(m.Identify).boot_count)

    assert counts[0] != counts[1]


def test_a_store_that_fails_is_told_apart_from_a_full_one(program: Path, tmp_path: Path) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    with switched_on(program, "--store", str(folder / "kept")) as desktop, line_to(desktop) as line:
        assert line.ask(m.SelfTest) == m.SelfTestResult(1, True, "")
        for number in range(32):
            reply = line.ask(partial(m.WriteStore, key=f"k{number}", value=b"v"))
            assert reply.outcome is m.Outcome.DONE
        assert line.ask(lambda n: m.WriteStore(n, "x", b"v")).outcome is m.Outcome.STORE_FULL
        shutil.rmtree(folder)
        assert line.ask(lambda n: m.WriteStore(n, "k0", b"w")).outcome is m.Outcome.STORE_FAILED
        assert line.ask(lambda n: m.ReadStore(n, "k0")).value == b"v"
        failed = line.ask(m.SelfTest)
        assert (failed.passed, failed.detail) == (False, "store cannot be written")


@contextlib.contextmanager
def console_to(program: Path, kept: Path) -> Iterator[RigConsole]:
    with (
        switched_on(program, "--store", str(kept)) as desktop,
        RigConsole(transport_for(desktop.url)) as console,
    ):
        yield console


def test_the_description_travels_with_the_firmware(
    program: Path, rig: RigDescription, tmp_path: Path
) -> None:
    kept = tmp_path / "store"
    with console_to(program, kept) as console:
        save_description(console, rig.to_toml())
        assert console.configure(1, 250.0, 5).rate_hz == 250.0
        assert console.identify().streams[0].rate_hz == 250.0

    with console_to(program, kept) as console:
        assert fetch_description(console) == rig
        assert "rig.toml" in console.stored_keys()
        assert console.identity.streams[0].rate_hz == 1000.0  # settings end with the power


def test_a_force_converter_that_dies_is_told_by_the_rig_and_by_everybody_behind_it(
    program: Path, rig: RigDescription, tmp_path: Path
) -> None:
    out = tmp_path / "dies.h5"
    with switched_on(program, "--speed", str(SPEED), "--samples", "4000") as desktop:
        outcome = record_trial(desktop.url, out, rig=rig, seconds=10.0)

    recording, verified = read_recording(out), verify_recording(out)
    assert not outcome.whole
    assert outcome.silent == ("nothing comes of stream 'force' while the rig goes on",)
    assert [(f.code, f.stream_id) for f in recording.faults] == [(m.FaultCode.STREAM_SILENT, 1)]
    assert len(recording.streams["force"].counts) == 4000
    assert not verified.faults
    assert [text.split(" for ")[0] for text in verified.missing] == ["stream 'force' was silent"]
    trial = analyse(recording)
    worse = {item.key for item in trial.quality if item.severity is Severity.WARNING}
    assert {"silent_streams", "rig_faults"} <= worse
    assert trial.series.time_s[-1] <= 4.0  # nothing is told of the time without force


def test_the_check_before_use_finds_nothing_wrong_but_the_clock_that_runs_too_fast(
    program: Path, rig: RigDescription, capsys: pytest.CaptureFixture[str]
) -> None:
    with switched_on(program, "--speed", str(SPEED)) as desktop:
        with RigConsole(transport_for(desktop.url)) as console:
            save_description(console, rig.to_toml())
        code = main(["check", "--port", desktop.url, "--no-prompt", "--json"])

    found = {row["key"]: row for row in json.loads(capsys.readouterr().out)}
    not_passed = {key for key, row in found.items() if row["result"] != "pass"}
    assert code == FAILED
    assert "rig_clock" in not_passed  # simulated time runs ten times as fast
    assert not_passed <= {"rig_clock", "calibration_age"}  # of an invented cell, grown old
    assert found["versions"]["value"].startswith("rig D01, firmware reference desktop 1, protocol")
    assert found["noise"]["limit"] == "0.045 N, 1.5 times the calibration's 0.03 N"
    assert float(found["noise"]["value"].split()[0]) == pytest.approx(0.03, rel=0.1)


@pytest.mark.parametrize(
    "options", [["--speed", "0"], ["--speed"], ["--speed", "x"], ["--no", "1"]]
)
def test_options_that_make_no_sense_are_told(program: Path, options: list[str]) -> None:
    done = subprocess.run(
        [program, *options], capture_output=True, text=True, timeout=LONGEST_S, check=False
    )

    assert done.returncode == 2
    assert done.stderr.startswith("usage: ")


def test_a_file_that_is_no_store_is_left_alone(program: Path, tmp_path: Path) -> None:
    kept = tmp_path / "store"
    kept.write_bytes(b"\xff not a store")

    done = subprocess.run(
        [program, "--store", str(kept)],
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )

    assert done.returncode == 1
    assert done.stderr == f"{kept}: is no store; move it away to begin a new one\n"
    assert kept.read_bytes() == b"\xff not a store"
