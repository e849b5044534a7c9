"""Served over real sockets and pseudo-terminals; every wait has an end."""

from __future__ import annotations

import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import partial

import numpy as np
import pytest

from acquisition.clock import SystemClock
from acquisition.errors import PortError, TransportLost
from acquisition.transports import transport_for
from acquisition.transports.base import Transport
from acquisition.virtual_rig import VirtualRig
from acquisition.virtual_rig.device import RigDevice
from acquisition.virtual_rig.serve import serve_pty, serve_tcp
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import FrameFault
from firmware_protocol.messages import Ping, Pong, Reply, SampleBlock

MakeRig = Callable[..., VirtualRig]
Served = Callable[..., AbstractContextManager[str]]
MAX_SPEED = float("inf")
LONGEST_S = 20.0
MAX_READS = 2000  # of 20 ms at most
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals on Windows")
BOTH = [serve_tcp, pytest.param(serve_pty, marks=needs_pty)]


@contextmanager
def opened(url: str) -> Iterator[Transport]:
    transport = transport_for(url)
    transport.open()
    try:
        yield transport
    finally:
        transport.close()


def listen(
    transport: Transport, host: HostEnd, enough: Callable[[list[object]], bool]
) -> list[object]:
    heard: list[object] = []
    for _ in range(MAX_READS):
        heard += host.receive(transport.read())
        if enough(heard):
            return heard
    pytest.fail(f"only {len(heard)} messages came")


def stream(transport: Transport, samples: int) -> tuple[HostEnd, list[SampleBlock], list[object]]:
    """Identify, start, and hear the force stream up to so many samples."""
    host = HostEnd()
    transport.write(host.identify())
    listen(transport, host, lambda _: host.identity is not None)
    transport.write(host.start())
    # A pseudo-terminal may still bring blocks of the client before: only those since Start count.
    before = listen(transport, host, lambda heard: any(isinstance(m, Reply) for m in heard))
    at = next(i for i, message in enumerate(before) if isinstance(message, Reply))

    def force(heard: list[object]) -> list[SampleBlock]:
        since = [*before[at:], *heard]
        return [m for m in since if isinstance(m, SampleBlock) and m.stream_id == 1]

    heard = listen(transport, host, lambda h: sum(b.sample_count for b in force(h)) >= samples)
    return host, force(heard), [*before, *heard]


@pytest.mark.parametrize("serve", BOTH)
def test_the_samples_served_are_those_of_the_rig_byte_for_byte(
    served: Served, make_rig: MakeRig, serve: Callable[..., None]
) -> None:
    """Raw bytes of all values pass, those that a terminal would swallow included."""
    rig = make_rig("T05", axes=6)
    with served(serve, lambda: RigDevice(rig), speed=MAX_SPEED) as url, opened(url) as transport:
        host, blocks, heard = stream(transport, 12_000)

    assert host.identity is not None
    found = np.frombuffer(b"".join(block.data for block in blocks), "<i4").reshape(-1, 6)
    assert np.array_equal(found, make_rig("T05", axes=6).force_counts(0, len(found)))
    assert not any(isinstance(message, FrameFault) for message in heard)


@pytest.mark.parametrize("serve", BOTH)
def test_one_client_after_another_is_served(
    served: Served, make_rig: MakeRig, serve: Callable[..., None]
) -> None:
    rig = make_rig()
    with served(serve, lambda: RigDevice(rig), speed=MAX_SPEED) as url:
        for _ in range(2):
            with opened(url) as transport:
                _, blocks, _ = stream(transport, 500)

            assert blocks[0].sequence == 0


def test_in_real_time_a_block_comes_as_soon_as_it_is_complete(
    served: Served, make_rig: MakeRig
) -> None:
    """Only the order of things is asserted, no duration: the device's clock is the host's."""
    rig = make_rig()
    with (
        served(serve_tcp, lambda: RigDevice(rig), speed=1.0) as url,
        opened(url) as transport,
    ):
        _, blocks, _ = stream(transport, 300)

    assert [block.sequence for block in blocks[:3]] == [0, 10, 20]


@pytest.mark.parametrize("serve", BOTH)
def test_pings_are_answered_between_the_blocks(
    served: Served, make_rig: MakeRig, serve: Callable[..., None]
) -> None:
    rig = make_rig()
    with served(serve, lambda: RigDevice(rig), speed=MAX_SPEED) as url, opened(url) as transport:
        host, _, heard = stream(transport, 300)
        pongs: list[Pong] = []
        for number in range(5):
            transport.write(host.ask(partial(Ping, host_time_us=number)))
            heard += listen(transport, host, lambda h: any(isinstance(m, Pong) for m in h))
            pongs = [m for m in heard if isinstance(m, Pong)]

    assert [pong.host_time_us for pong in pongs] == list(range(5))
    assert all(pong.received_us <= pong.sent_us for pong in pongs)
    assert not any(isinstance(m, FrameFault) for m in heard)


def test_only_this_machine_is_let_in_by_default(served: Served, make_rig: MakeRig) -> None:
    with served(serve_tcp, lambda: RigDevice(make_rig()), speed=MAX_SPEED) as url:
        assert url.startswith("tcp://127.0.0.1:")


def test_a_pulled_cable_closes_the_connection(served: Served, make_rig: MakeRig) -> None:
    rig = make_rig()
    with (
        served(serve_tcp, lambda: RigDevice(rig, faults={"unplug": 0.2}), speed=MAX_SPEED) as url,
        opened(url) as transport,
    ):
        with pytest.raises(TransportLost):
            stream(transport, 1000)
        with opened(url) as again:
            host = HostEnd()
            again.write(host.identify())
            listen(again, host, lambda _: host.identity is not None)


def test_a_client_that_does_not_read_costs_samples_and_no_memory(
    served: Served, make_rig: MakeRig
) -> None:
    """Far faster than real time; the backlog is bounded, the rest is counted as overrun."""
    full = threading.Event()

    class Watched(RigDevice):
        def poll(self, elapsed_us: int, *, room: bool = True) -> bytes:
            said = super().poll(elapsed_us, room=room)
            if self._overrun_samples:
                full.set()
            return said

    with (
        served(serve_tcp, lambda: Watched(make_rig(repetitions=None)), speed=20_000.0) as url,
        opened(url) as transport,
    ):
        host = HostEnd()
        transport.write(host.identify())
        listen(transport, host, lambda _: host.identity is not None)
        transport.write(host.start())

        assert full.wait(LONGEST_S)


def test_a_port_in_use_is_one_clear_line(make_rig: MakeRig) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        number = taken.getsockname()[1]

        with pytest.raises(PortError, match=rf"tcp://127.0.0.1:{number}: cannot listen there"):
            serve_tcp(
                lambda: RigDevice(make_rig()),
                clock=SystemClock(),
                stop=threading.Event(),
                on_address=pytest.fail,
                port=number,
            )


def test_a_system_without_pseudo_terminals_is_told_so(
    make_rig: MakeRig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "tty", None)

    with pytest.raises(PortError, match="serve on TCP instead"):
        serve_pty(
            lambda: RigDevice(make_rig()),
            clock=SystemClock(),
            stop=threading.Event(),
            on_address=pytest.fail,
        )
