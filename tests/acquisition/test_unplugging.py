"""A recording through a real loss: the far end goes away and comes back, on both real lines."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.clock import SystemClock
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.recording.writer import RecordingWriter
from acquisition.session import LinkState, Session
from acquisition.transports import transport_for
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from acquisition.virtual_rig.device import RigDevice
from acquisition.virtual_rig.serve import serve_pty, serve_tcp

LONGEST_S = 20.0
Served = Callable[..., AbstractContextManager[str]]
ENOUGH = 400


@pytest.fixture(scope="module")
def virtual_rig() -> VirtualRig:
    return VirtualRig(default_rig(), trainee("T03"), seed=7, repetitions=None)


def step_until(session: Session, done: Callable[[], bool]) -> None:
    clock = SystemClock()
    last_ns = clock.now_ns() + int(LONGEST_S * 1e9)
    while not done():
        assert clock.now_ns() < last_ns, session.health()
        clock.sleep(session.step())


def samples(collector: Any, segment: int) -> int:
    return sum(len(block) for block in collector.blocks if block.segment == segment)


def record_a_loss(
    url: str, again: Callable[[], Any], unplug: Callable[[], None], out: Path, collector: Any
) -> None:
    clock = SystemClock()
    session = Session(transport_for(url), clock=clock)
    identity = session.connect()
    session.add_sink(
        RecordingWriter(
            out,
            identity=identity,
            rig=default_rig(),
            target_json="",
            label=TrialLabel(),
            clock=clock,
        )
    )
    session.add_sink(collector)
    step_until(session, lambda: samples(collector, 0) > ENOUGH)
    unplug()
    step_until(session, lambda: session.state is LinkState.LOST)
    assert collector.kinds == ["lost"]
    with again():
        step_until(session, lambda: samples(collector, 1) > ENOUGH)
        session.close()


def assert_both_segments_are_what_the_rig_sent(out: Path, rig: VirtualRig) -> None:
    recording = read_recording(out)
    assert [event.kind for event in recording.events] == ["lost", "resumed"]
    force = recording.streams["force"]
    for segment in (0, 1):
        here = force.segment == segment
        count = int(np.count_nonzero(here))
        assert count > ENOUGH / 2
        assert np.array_equal(force.sample_number[here], np.arange(count))
        assert np.array_equal(force.counts[here], rig.force_counts(0, count))


def test_a_network_cable_pulled_and_put_back_is_a_new_segment(
    served: Served, tmp_path: Path, virtual_rig: VirtualRig, collector: Any
) -> None:
    out = tmp_path / "t.h5"
    with ExitStack() as first:
        url = first.enter_context(served(serve_tcp, lambda: RigDevice(virtual_rig)))
        port = int(url.rpartition(":")[2])

        record_a_loss(
            url,
            lambda: served(serve_tcp, lambda: RigDevice(virtual_rig), port=port),
            first.close,
            out,
            collector,
        )

    assert "tcp://127.0.0.1" in collector.events[0].text
    assert_both_segments_are_what_the_rig_sent(out, virtual_rig)


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals on Windows")
def test_a_serial_cable_pulled_and_put_back_is_a_new_segment(
    served: Served, tmp_path: Path, virtual_rig: VirtualRig, collector: Any
) -> None:
    """The name stays, as a by-id name of a real port does, while the terminal behind changes."""
    out, name = tmp_path / "t.h5", tmp_path / "rig"

    @contextmanager
    def again() -> Iterator[None]:
        name.unlink()
        with served(serve_pty, lambda: RigDevice(virtual_rig)) as url:
            name.symlink_to(url.partition(":")[2])
            yield

    with ExitStack() as first:
        url = first.enter_context(served(serve_pty, lambda: RigDevice(virtual_rig)))
        name.symlink_to(url.partition(":")[2])

        record_a_loss(f"serial:{name}", again, first.close, out, collector)

    assert f"serial:{name}" in collector.events[0].text
    assert_both_segments_are_what_the_rig_sent(out, virtual_rig)
