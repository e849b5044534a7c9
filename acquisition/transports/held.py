"""A line that stays open from one user to the next."""

from __future__ import annotations

from types import TracebackType

from acquisition.errors import TransportLost
from acquisition.transports.base import Transport


class HeldPort:
    """Passes everything on, and can be left open for who comes next; use it with ``with``.

    The opening of a serial port resets some boards. One that is asked for its description and
    then recorded from is to be the same rig, opened once.

    Args:
        transport: The line itself, closed.

    Attributes:
        transport: Likewise.
    """

    def __init__(self, transport: Transport) -> None:
        self.transport = transport
        self._leave_open = False
        self._left_open = False

    def __enter__(self) -> HeldPort:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the line, also if it was left open."""
        self._leave_open = self._left_open = False
        self.transport.close()

    @property
    def name(self) -> str:
        """What the line is called."""
        return self.transport.name

    @property
    def finished(self) -> bool:
        """Whether the line has given everything."""
        return self.transport.finished

    def leave_open(self) -> None:
        """Let the next `close` leave the line open, and the next `open` go on with it."""
        self._leave_open = True

    def open(self) -> None:
        """Open the line, unless it was left open.

        Raises:
            PortError: It cannot be opened.
        """
        if not self._left_open:
            self.transport.open()
        self._left_open = False

    def read(self) -> bytes:
        """Return what has come.

        Raises:
            TransportLost: The far end is gone.
        """
        try:
            return self.transport.read()
        except TransportLost:
            self._leave_open = False  # there is nothing to go on with
            raise

    def write(self, data: bytes) -> None:
        """Send *data*.

        Raises:
            TransportLost: The far end is gone.
        """
        try:
            self.transport.write(data)
        except TransportLost:
            self._leave_open = False
            raise

    def close(self) -> None:
        """Let go of the line, or leave it open once if that was asked for."""
        if self._leave_open:
            self._leave_open, self._left_open = False, True
        else:
            self._left_open = False
            self.transport.close()
