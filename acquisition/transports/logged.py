"""A line whose every byte is logged on the way."""

from __future__ import annotations

from acquisition.errors import TransportLost
from acquisition.recording.raw_log import Kind, RawLogWriter
from acquisition.transports.base import Transport


class LoggedPort:
    """Passes everything on and notes it in a raw log.

    Args:
        transport: The line itself, closed.
        log: Takes what crosses it; closed by whoever made it.
    """

    def __init__(self, transport: Transport, log: RawLogWriter) -> None:
        self._transport = transport
        self._log = log
        self._is_open = False

    @property
    def name(self) -> str:
        """What the line is called."""
        return self._transport.name

    @property
    def finished(self) -> bool:
        """Whether the line has given everything."""
        return self._transport.finished

    def open(self) -> None:
        """Open the line.

        Raises:
            PortError: It cannot be opened.
        """
        self._transport.open()
        self._is_open = True
        self._log.add(Kind.OPENED)

    def read(self) -> bytes:
        """Return what has come.

        Raises:
            TransportLost: The far end is gone.
            RecordingError: It cannot be logged.
        """
        try:
            data = self._transport.read()
        except TransportLost:
            self._log.add(Kind.LOST)
            raise
        if data:
            self._log.add(Kind.READ, data)
        self._log.check()
        return data

    def write(self, data: bytes) -> None:
        """Send *data*.

        Raises:
            TransportLost: The far end is gone.
        """
        self._log.add(Kind.WRITTEN, data)  # first, so that the answer stands behind the question
        self._transport.write(data)

    def close(self) -> None:
        """Let go of the line."""
        self._transport.close()
        if self._is_open:
            self._is_open = False
            self._log.add(Kind.CLOSED)
