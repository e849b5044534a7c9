"""A rig behind a TCP port, such as `perpend simulate` or a serial server.

A plain socket: pyserial's ``socket://`` reads byte by byte (measured: 111 % of a core at
230 kB/s and still falling behind; this needs 6 %).
"""

from __future__ import annotations

import socket
from urllib.parse import urlsplit

from acquisition.errors import PortError, TransportLost
from acquisition.transports.base import READ_WAIT_S
from acquisition.transports.url import PortUrl

CONNECT_WAIT_S = 3.0
WRITE_WAIT_S = 1.0
MAX_READ_BYTES = 65536


class TcpPort:
    """A TCP connection as a byte pipe."""

    finished = False

    def __init__(self, host: str, port: int) -> None:
        self.name = f"tcp://[{host}]:{port}" if ":" in host else f"tcp://{host}:{port}"
        self._address = (host, port)
        self._socket: socket.socket | None = None

    @classmethod
    def from_url(cls, url: PortUrl) -> TcpPort:
        """Make one from ``tcp://HOST:PORT``.

        Raises:
            PortError: Host or port is missing.
        """
        url.read_options({})
        try:
            parts = urlsplit(f"tcp://{url.address}")
            host, port = parts.hostname, parts.port
        except ValueError:
            host = port = None
        if not host or not port or parts.path:
            raise PortError(f"{url.text}: write it like tcp://127.0.0.1:4551")
        return cls(host, port)

    def open(self) -> None:
        """Connect.

        Raises:
            PortError: Nothing answers there.
        """
        self.close()
        try:
            self._socket = socket.create_connection(self._address, timeout=CONNECT_WAIT_S)
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        except OSError as cause:
            self.close()
            raise PortError(f"{self.name}: {_why(cause)}") from cause

    def read(self) -> bytes:
        """Return what has come within a short wait.

        Raises:
            TransportLost: The far end closed the connection, or it broke.
        """
        connection = self._connected()
        try:
            connection.settimeout(READ_WAIT_S)
            data = connection.recv(MAX_READ_BYTES)
        except TimeoutError:
            return b""
        except OSError as cause:
            raise TransportLost(f"{self.name}: connection broke ({cause.strerror})") from cause
        if not data:
            raise TransportLost(f"{self.name}: the far end closed the connection")
        return data

    def write(self, data: bytes) -> None:
        """Send *data*.

        Raises:
            TransportLost: The connection broke, or the far end takes nothing.
        """
        connection = self._connected()
        try:
            connection.settimeout(WRITE_WAIT_S)
            connection.sendall(data)
        except OSError as cause:
            raise TransportLost(f"{self.name}: cannot send ({cause})") from cause

    def close(self) -> None:
        """Let go of the connection."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _connected(self) -> socket.socket:
        if self._socket is None:
            raise TransportLost(f"{self.name}: not open")
        return self._socket


def _why(cause: OSError) -> str:
    if isinstance(cause, ConnectionRefusedError):
        return "nothing listens there; start the rig's server first, or check the port number"
    if isinstance(cause, socket.gaierror):
        return "no such host; check its name"
    if isinstance(cause, TimeoutError):
        return f"no answer within {CONNECT_WAIT_S:g} s; check address and firewall"
    return f"cannot connect ({cause.strerror or cause})"
