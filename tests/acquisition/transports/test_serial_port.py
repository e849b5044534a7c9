"""Serial ports through pyserial, on a pseudo-terminal: the same code path as a real rig's."""

from __future__ import annotations

import contextlib
import errno
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial

from acquisition.errors import PortError, TransportLost
from acquisition.transports import serial_port
from acquisition.transports.serial_port import PortInfo, SerialPort, list_ports

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are a Unix thing", allow_module_level=True)

import os
import pty
import tty


@pytest.fixture
def terminal() -> Iterator[tuple[int, str]]:
    """The far end's descriptor and the name of the near end."""
    far, near = pty.openpty()
    tty.setraw(far)
    tty.setraw(near)
    name = os.ttyname(near)
    os.close(near)
    yield far, name
    with contextlib.suppress(OSError):  # a test may have closed it itself
        os.close(far)


@pytest.fixture
def port(terminal: tuple[int, str]) -> Iterator[SerialPort]:
    port = SerialPort(terminal[1])
    port.open()
    yield port
    port.close()


def test_bytes_go_both_ways_unchanged(terminal: tuple[int, str], port: SerialPort) -> None:
    every = bytes(range(256)) * 4
    os.write(terminal[0], every)
    port.write(every[::-1])

    got = b""
    while len(got) < len(every):
        got += port.read()

    assert got == every
    assert os.read(terminal[0], 2000) == every[::-1]


def test_what_has_come_is_read_at_once(terminal: tuple[int, str], port: SerialPort) -> None:
    """In a few pieces, as the system hands them over, not byte by byte."""
    os.write(terminal[0], b"x" * 600)

    pieces = [port.read()]
    while sum(map(len, pieces)) < 600:
        pieces.append(port.read())

    assert len(pieces) < 60


class Burst:
    """A port at which a block comes while somebody waits for its first byte."""

    def __init__(self, block: bytes) -> None:
        self.waiting = block
        self.in_waiting = 0

    def read(self, size: int) -> bytes:
        taken, self.waiting = self.waiting[:size], self.waiting[size:]
        self.in_waiting = len(self.waiting)
        return taken

    def close(self) -> None:
        """Nothing to let go of."""


def test_what_came_with_the_first_byte_comes_with_it(port: SerialPort) -> None:
    """Not one byte, and the rest in a read of its own: each read costs the session a step."""
    port.close()
    port._port = Burst(b"x" * 163)  # type: ignore[assignment] # a port that never is early

    assert [port.read(), port.read()] == [b"x" * 163, b""]


def test_nothing_to_read_is_no_bytes(port: SerialPort) -> None:
    assert port.read() == b""


def test_the_far_end_closing_is_a_loss_that_names_the_port(
    terminal: tuple[int, str], port: SerialPort
) -> None:
    os.close(terminal[0])

    with pytest.raises(TransportLost, match=f"serial:{terminal[1]}: the line is gone"):
        port.read()
    port.close()
    with pytest.raises(PortError, match="is not"):
        port.open()


def test_a_port_in_use_is_said(terminal: tuple[int, str], port: SerialPort) -> None:
    with pytest.raises(PortError, match="in use by another program; close that first"):
        SerialPort(terminal[1]).open()


def test_a_port_that_is_not_there_is_said() -> None:
    with pytest.raises(PortError, match="serial:/dev/ttyNOPE9: is not there; plug the rig in"):
        SerialPort("/dev/ttyNOPE9").open()


def test_a_file_is_no_serial_port(tmp_path: Path) -> None:
    plain = tmp_path / "plain.txt"
    plain.write_bytes(b"do not touch")

    with pytest.raises(PortError, match="is not a serial port; `perpend ports` lists"):
        SerialPort(str(plain)).open()
    with pytest.raises(PortError, match="is not a serial port"):
        SerialPort(str(tmp_path)).open()
    assert plain.read_bytes() == b"do not touch"


def test_a_device_that_is_no_terminal_is_said() -> None:
    with pytest.raises(PortError, match="is not a usable serial port"):
        SerialPort("/dev/null").open()


@pytest.mark.parametrize(("group", "named"), [("plugdev", "plugdev"), ("root", "dialout")])
def test_a_lack_of_permission_comes_with_its_remedy(
    monkeypatch: pytest.MonkeyPatch, group: str, named: str
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(errno.EACCES, "could not open port: Permission denied")

    monkeypatch.setattr(serial, "Serial", refuse)
    monkeypatch.setattr(Path, "group", lambda _: group)

    with pytest.raises(PortError, match=rf"no permission; .*`sudo usermod -aG {named} \$USER`"):
        SerialPort("/dev/ttyACM0").open()


@pytest.mark.parametrize(
    "raised",
    [serial.SerialException("x"), OSError("x"), TypeError("x"), *serial_port.PORT_ERRORS[2:]],
)
def test_whatever_a_vanishing_port_raises_is_a_loss(
    raised: Exception, terminal: tuple[int, str]
) -> None:
    def gone(_: object) -> bytes:
        raise raised

    port = SerialPort(terminal[1])
    port._port = SimpleNamespace(in_waiting=0, read=gone, write=gone, close=lambda: gone(0))  # type: ignore[assignment] # a port that broke

    with pytest.raises(TransportLost):
        port.read()
    with pytest.raises(TransportLost):
        port.write(b"x")
    port.close()


def test_a_closed_port_is_lost_not_broken(port: SerialPort) -> None:
    port.close()
    port.close()

    with pytest.raises(TransportLost, match="not open"):
        port.read()


def test_ports_are_listed_by_device(monkeypatch: pytest.MonkeyPatch) -> None:
    found = [
        SimpleNamespace(device="/dev/ttyUSB1", description="n/a", serial_number=None),
        SimpleNamespace(device="/dev/ttyACM0", description="Bench rig", serial_number="A7"),
    ]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: found)

    assert list_ports() == [
        PortInfo("serial:/dev/ttyACM0", "/dev/ttyACM0", "Bench rig", "A7"),
        PortInfo("serial:/dev/ttyUSB1", "/dev/ttyUSB1", "", ""),
    ]


def test_listing_the_machine_s_own_ports_works() -> None:
    assert all(port.url == f"serial:{port.device}" for port in list_ports())
