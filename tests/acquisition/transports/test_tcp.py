"""A real socket on the loopback interface."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from acquisition.errors import PortError, TransportLost
from acquisition.transports.tcp import TcpPort


@pytest.fixture
def server() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(5)
        yield server


@pytest.fixture
def port(server: socket.socket) -> Iterator[TcpPort]:
    port = TcpPort("127.0.0.1", server.getsockname()[1])
    port.open()
    yield port
    port.close()


def read_bytes(port: TcpPort, count: int) -> bytes:
    got = b""
    while len(got) < count:
        got += port.read()
    return got


def test_bytes_go_both_ways_unchanged(server: socket.socket, port: TcpPort) -> None:
    far, _ = server.accept()
    with far:
        every = bytes(range(256)) * 300
        far.sendall(every)
        port.write(b"\x00\x11\x13\r\n")

        assert read_bytes(port, len(every)) == every
        assert far.recv(100) == b"\x00\x11\x13\r\n"


def test_nothing_to_read_is_no_bytes(server: socket.socket, port: TcpPort) -> None:
    far, _ = server.accept()
    with far:
        assert port.read() == b""


def test_the_far_end_closing_is_a_loss_and_opening_again_works(
    server: socket.socket, port: TcpPort
) -> None:
    far, _ = server.accept()
    far.close()
    with pytest.raises(TransportLost, match=r"tcp://127\.0\.0\.1:\d+: the far end closed"):
        port.read()

    port.open()
    far, _ = server.accept()
    with far:
        far.sendall(b"again")

        assert read_bytes(port, 5) == b"again"


def test_nothing_listening_is_said(server: socket.socket) -> None:
    port = TcpPort("127.0.0.1", server.getsockname()[1])
    server.close()

    with pytest.raises(PortError, match="nothing listens there; start the rig's server first"):
        port.open()


def test_a_host_that_does_not_exist_is_said() -> None:
    with pytest.raises(PortError, match="no such host"):
        TcpPort("no-such-host.invalid", 1).open()  # RFC 6761 reserves .invalid


def test_a_closed_port_is_lost_not_broken(port: TcpPort) -> None:
    port.close()

    with pytest.raises(TransportLost, match="not open"):
        port.read()
    with pytest.raises(TransportLost, match="not open"):
        port.write(b"x")
