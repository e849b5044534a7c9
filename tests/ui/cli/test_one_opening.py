"""A rig on a serial port is opened once, also where it is asked for its description first."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest

from acquisition.clock import SystemClock
from acquisition.recording.reader import read_recording
from acquisition.rig_store import store_with
from acquisition.transports.serial_port import SerialPort
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from acquisition.virtual_rig.device import RigDevice
from acquisition.virtual_rig.serve import serve_pty
from ui.cli.exit_codes import DONE, FAILED

Perpend = Callable[..., Any]
WAIT_S = 20.0


@pytest.fixture
def port() -> Iterator[str]:
    """Return the port of a rig on a pseudo-terminal that keeps its own description."""
    pytest.importorskip("tty", reason="no pseudo-terminals on this system")
    stop, known, address = Event(), Event(), list[str]()

    def tell(url: str) -> None:
        address.append(url)
        known.set()

    def work() -> None:
        rig = default_rig("left")
        serve_pty(
            lambda: RigDevice(VirtualRig(rig, trainee("E01")), store=store_with(rig)),
            clock=SystemClock(), stop=stop, on_address=tell, speed=float("inf"),
        )  # fmt: skip

    thread = Thread(target=work)
    thread.start()
    assert known.wait(WAIT_S)
    yield address[0]
    stop.set()
    thread.join(WAIT_S)
    assert not thread.is_alive()


@pytest.fixture
def openings(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list that grows by a name whenever a serial port is opened."""
    opened, really = list[str](), SerialPort.open

    def noted(self: SerialPort) -> None:
        opened.append(self.name)
        really(self)

    monkeypatch.setattr(SerialPort, "open", noted)
    return opened


def test_check_opens_it_once_for_description_self_test_and_recording(
    perpend: Perpend, port: str, openings: list[str]
) -> None:
    said = perpend("check", "--port", port, "--no-prompt", "--json")

    results = {row["key"]: row["result"] for row in json.loads(said.out)}
    assert {results["self_test"], results["rig_identity"], results["sign_and_side"]} == {"pass"}
    # It goes through its time as fast as it can: no clock of a rig that stands on a bench.
    assert said.code == FAILED
    assert said.err == "perpend check: not fit for use: rig clock\n"
    assert openings == [port]


def test_record_opens_it_once_and_loses_nothing(
    perpend: Perpend, port: str, openings: list[str], tmp_path: Path
) -> None:
    said = perpend("record", "--port", port, "--seconds", 1, "--out", tmp_path / "a.h5")

    recording = read_recording(tmp_path / "a.h5")
    assert said.code == DONE
    assert recording.rig == default_rig("left")
    assert (recording.counts.missing_samples, recording.counts.bad_frames) == (0, 0)
    assert openings == [port]
