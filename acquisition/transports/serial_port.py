"""Serial ports and pseudo-terminals, through pyserial."""

from __future__ import annotations

import contextlib
import errno
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import serial
from serial.tools import list_ports as usb_ports

from acquisition.errors import PortError, TransportLost
from acquisition.transports.base import READ_WAIT_S
from acquisition.transports.url import PortUrl, at_least

DEFAULT_BAUD = 921_600
WRITE_WAIT_S = 1.0


def _port_errors() -> tuple[type[BaseException], ...]:
    # TypeError and termios.error (no OSError) come out of pyserial when a port vanishes.
    if sys.platform == "win32":
        return (OSError, TypeError)
    import termios

    return (OSError, TypeError, termios.error)


PORT_ERRORS = _port_errors()
# ValueError: a baud rate it cannot do.
OPEN_ERRORS: tuple[type[BaseException], ...] = (*PORT_ERRORS, ValueError)


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A serial port of this machine.

    Attributes:
        url: For `transport_for`.
        device: The system's name, such as ``/dev/ttyACM0``.
        description: What the adapter calls itself, may be empty.
        usb_serial: The adapter's own serial number: unlike *device* it stays when replugged.
    """

    url: str
    device: str
    description: str
    usb_serial: str


class SerialPort:
    """A serial port as a byte pipe."""

    finished = False

    def __init__(self, device: str, *, baud: int = DEFAULT_BAUD) -> None:
        self.name = f"serial:{device}"
        self._device = device
        self._baud = baud
        self._port: serial.Serial | None = None

    @classmethod
    def from_url(cls, url: PortUrl) -> SerialPort:
        """Make one from ``serial:DEVICE?baud=921600``.

        Raises:
            PortError: The device is missing, or an option makes no sense.
        """
        if not url.address:
            raise PortError(f"{url.text}: name a device, such as serial:/dev/ttyACM0")
        options = url.read_options({"baud": at_least(1, int)})
        return cls(url.address, **options)

    def open(self) -> None:
        """Open the port for this program alone.

        Raises:
            PortError: It is not there, in use, forbidden, or no serial port.
        """
        self.close()
        try:
            self._port = serial.Serial(
                self._device,
                self._baud,
                timeout=READ_WAIT_S,
                write_timeout=WRITE_WAIT_S,
                exclusive=True,
            )
        except OPEN_ERRORS as cause:
            raise PortError(f"{self.name}: {_why(self._device, cause)}") from cause
        with contextlib.suppress(*PORT_ERRORS, ValueError, NotImplementedError):
            # USB adapters gather for up to 16 ms; not every driver can be told otherwise.
            self._port.set_low_latency_mode(True)

    def read(self) -> bytes:
        """Return what has come; waits for one byte at most (a fixed size would wait to fill).

        What came with that byte is taken along: to take bytes costs little, to begin with
        them much.

        Raises:
            TransportLost: The port is gone.
        """
        with self._losses() as port:
            first = bytes(port.read(1))
            return first and first + port.read(port.in_waiting)

    def write(self, data: bytes) -> None:
        """Send *data*.

        Raises:
            TransportLost: The port is gone, or takes nothing.
        """
        with self._losses() as port:
            port.write(data)

    def close(self) -> None:
        """Let go of the port."""
        port, self._port = self._port, None
        if port is not None:
            with contextlib.suppress(*PORT_ERRORS):
                port.close()

    @contextlib.contextmanager
    def _losses(self) -> Iterator[serial.Serial]:
        if self._port is None:
            raise TransportLost(f"{self.name}: not open")
        try:
            yield self._port
        except PORT_ERRORS as cause:
            raise TransportLost(f"{self.name}: the line is gone ({cause})") from cause


def list_ports() -> list[PortInfo]:
    """Return the serial ports of this machine, by device name."""
    found = sorted(usb_ports.comports(), key=lambda port: str(port.device))
    return [
        PortInfo(
            url=f"serial:{port.device}",
            device=port.device,
            description="" if port.description in (None, "n/a") else port.description,
            usb_serial=port.serial_number or "",
        )
        for port in found
    ]


def _why(device: str, cause: BaseException) -> str:
    number = getattr(cause, "errno", None)
    text = str(cause)
    if number == errno.ENOENT or "FileNotFoundError" in text:
        return "is not there; plug the rig in, `perpend ports` lists what is"
    if number in (errno.EBUSY, errno.EAGAIN) or "PermissionError" in text:  # so says Windows
        return "in use by another program; close that first"
    if number in (errno.EACCES, errno.EPERM):
        return f"no permission; {_remedy(device)}"
    if Path(device).exists() and not Path(device).is_char_device():
        return "is not a serial port; `perpend ports` lists those there are"
    return f"is not a usable serial port ({text})"


def _remedy(device: str) -> str:
    with contextlib.suppress(OSError, KeyError, NotImplementedError):
        group = Path(device).group()
        if group != "root":
            return f"join its group with `sudo usermod -aG {group} $USER`, then log in again"
    return "join its group with `sudo usermod -aG dialout $USER`, then log in again"
