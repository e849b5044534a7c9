"""Byte pipes by URL; a new kind is one file and one line in the table here."""

from __future__ import annotations

from collections.abc import Callable

from acquisition.errors import PortError
from acquisition.transports.base import Transport
from acquisition.transports.url import PortUrl, parse_url

__all__ = ["TRANSPORTS", "Transport", "transport_for"]


def _serial(url: PortUrl) -> Transport:
    from acquisition.transports.serial_port import SerialPort

    return SerialPort.from_url(url)


def _tcp(url: PortUrl) -> Transport:
    from acquisition.transports.tcp import TcpPort

    return TcpPort.from_url(url)


def _virtual(url: PortUrl) -> Transport:
    from acquisition.transports.virtual import VirtualPort

    return VirtualPort.from_url(url)


def _replay(url: PortUrl) -> Transport:
    from acquisition.transports.replay import replay_from_url

    return replay_from_url(url)


TRANSPORTS: dict[str, Callable[[PortUrl], Transport]] = {
    "serial": _serial,
    "tcp": _tcp,
    "virtual": _virtual,
    "replay": _replay,
}
"""By scheme; the module behind it is imported when it is asked for."""


def transport_for(url: str) -> Transport:
    """Return the closed transport that *url* names.

    Args:
        url: ``serial:/dev/ttyACM0?baud=921600``, ``tcp://127.0.0.1:4551``,
            ``virtual:?trainee=T03&seed=7`` or ``replay:FILE?speed=max``.

    Raises:
        PortError: No such kind of port, or its options make no sense.
    """
    parsed = parse_url(url)
    if parsed.scheme not in TRANSPORTS:
        known = ", ".join(sorted(TRANSPORTS))
        raise PortError(f"{url}: unknown kind of port {parsed.scheme!r}; known: {known}")
    return TRANSPORTS[parsed.scheme](parsed)
