"""``perpend stream`` and ``record --lsl``, up to the outlet."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.clock import ManualClock
from acquisition.errors import TransportLost
from acquisition.recording.reader import read_recording
from acquisition.transports import transport_for
from acquisition.transports.virtual import VirtualPort
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.live import lab_outlet
from ui.live.feed import LiveFeed

Perpend = Callable[..., Any]
PORT = "virtual:?trainee=T03&seed=7&reps=1&speed=max"


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """What the outlet was given, and that it was closed."""
    told: list[Any] = []

    class Outlet:
        name = "perpend R01"

        def __init__(self, *_: object, **options: object) -> None:
            told.append(options["fs_hz"])

        def push(self, values: Any, host_ns: Any) -> None:
            told.append((values, host_ns))

        def close(self) -> None:
            told.append("closed")

    monkeypatch.setattr(lab_outlet, "LabOutlet", Outlet)
    monkeypatch.setattr(lab_outlet, "load", lambda: None)
    return told


def test_the_push_is_sent_until_the_source_ends(perpend: Perpend, sent: list[Any]) -> None:
    said = perpend("stream", "--port", PORT)

    values = np.concatenate([one[0] for one in sent[1:-1]])
    assert said.code == DONE
    assert said.err == (
        "streaming 'perpend R01' (PushDirection) at 1000 Hz\nended, no samples lost\n"
    )
    assert (sent[0], sent[-1]) == (1000.0, "closed")
    assert (values[:, 6] == 1).sum() > 5000


def test_losses_end_in_their_own_exit_code(perpend: Perpend, sent: list[Any]) -> None:
    said = perpend("stream", "--port", f"{PORT}&faults=loss:0.01")

    assert said.code == INCOMPLETE
    assert sent[-1] == "closed"


def test_an_outlet_that_fails_ends_the_stream_loudly(
    perpend: Perpend, sent: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise TransportLost("the network is gone")

    monkeypatch.setattr(lab_outlet.LabOutlet, "push", fail)

    said = perpend("stream", "--port", PORT)

    assert said.code == FAILED
    assert "the network is gone" in said.err
    assert sent[-1] == "closed"


def test_a_recording_goes_on_when_the_outlet_fails(
    perpend: Perpend, sent: list[Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def fail(*_: object) -> None:
        raise TransportLost("the network is gone")

    monkeypatch.setattr(lab_outlet.LabOutlet, "push", fail)
    out = tmp_path / "a.h5"

    said = perpend("record", "--port", PORT, "--lsl", "--seconds", 8, "--out", out)

    assert said.code == DONE
    assert "8.0 s, nothing lost" in said.err
    (event,) = read_recording(out).events
    assert event.text == "LabStream failed and was taken off: the network is gone"


def test_without_the_library_it_is_one_line_and_no_port_is_opened(
    perpend: Perpend, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def opened(self: object) -> None:
        raise AssertionError("the port was opened")

    monkeypatch.setitem(sys.modules, "pylsl", None)
    monkeypatch.setattr(VirtualPort, "open", opened)

    for verb in (["stream"], ["record", "--lsl", "--out", str(tmp_path)]):
        said = perpend(*verb, "--port", PORT)
        assert said.code == FAILED
        assert said.err.count("\n") == 1
        assert "no lab stream: pylsl cannot be loaded" in said.err
        assert "install perpend with its lsl extra" in said.err


def test_the_window_can_stream_too(
    perpend: Perpend, sent: list[Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    opened: dict[str, Any] = {}

    def window(_: str, **options: Any) -> int:
        opened.update(options)
        return DONE

    monkeypatch.setattr("ui.desktop.open_live_window", window)

    perpend("live", "--port", PORT, "--out", tmp_path)
    assert opened["also"] is None

    perpend("live", "--port", PORT, "--out", tmp_path, "--lsl")
    feed = LiveFeed(
        transport_for(PORT),
        rig=opened["rig"],
        target=opened["target"],
        out_dir=tmp_path,
        label=opened["label"],
        also=opened["also"],
        clock=ManualClock(),
    )
    feed.open()
    for _ in range(3000):
        feed.step()
    feed.close()

    assert sent[0] == 1000.0
    assert len(sent) > 100
    assert sent[-1] == "closed"
