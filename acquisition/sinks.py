"""Who listens to a session, and what happens when a listener fails.

Two ranks: a broken picture must not stop a recording, a full disk must. An ordinary sink that
fails is taken off and reported; the failure of a critical one ends the session.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Protocol

from acquisition.blocks import StreamBlock
from acquisition.clock_fit import SyncExchange
from acquisition.recording.model import Event, LinkCounts
from firmware_protocol.messages import Fault, Identity


class Sink(Protocol):
    """Takes what a session has to say, in the session's thread.

    Attributes:
        critical: Whether the session is worth nothing without it.
    """

    @property
    def critical(self) -> bool:
        """Whether the session is worth nothing without it."""
        ...

    def on_block(self, block: StreamBlock) -> object:
        """Take samples."""
        ...

    def on_event(self, event: Event) -> object:
        """Take an event."""
        ...

    def on_fault(self, fault: Fault) -> object:
        """Take what the rig reported."""
        ...

    def on_sync(self, exchange: SyncExchange) -> object:
        """Take a question for the rig's clock and its answer."""
        ...

    def on_step(self, counts: LinkCounts) -> object:
        """Take the accounts as they stand: on joining, after each step, and on leaving."""
        ...

    def close(self, status: str) -> object:
        """Come to an end.

        Args:
            status: ``complete`` or ``stopped: <reason>``.
        """
        ...


SinkMaker = Callable[[Identity], Sink]
"""Makes a listener once the rig is known."""


class SinkBase:
    """An ordinary sink that ignores everything: override what is wanted."""

    critical = False

    def on_block(self, block: StreamBlock) -> object:
        """Ignore samples."""

    def on_event(self, event: Event) -> object:
        """Ignore an event."""

    def on_fault(self, fault: Fault) -> object:
        """Ignore a fault."""

    def on_sync(self, exchange: SyncExchange) -> object:
        """Ignore an exchange."""

    def on_step(self, counts: LinkCounts) -> object:
        """Ignore the accounts."""

    def close(self, status: str) -> object:
        """Do nothing at the end."""


class SinkSet:
    """The sinks of a session; they may come and go from any thread."""

    def __init__(self) -> None:
        self._sinks: list[Sink] = []
        self._lock = threading.RLock()

    def add(self, sink: Sink, counts: LinkCounts) -> None:
        """Let *sink* listen from now on; it hears the accounts as they stand first."""
        with self._lock:
            sink.on_step(counts)
            self._sinks.append(sink)

    def remove(self, sink: Sink, counts: LinkCounts) -> None:
        """Let *sink* go, with a last word on the accounts; it is not closed.

        Raises:
            ValueError: It is not (or no longer) here.
        """
        with self._lock:
            self._sinks.remove(sink)
            sink.on_step(counts)

    def tell(self, what: Callable[[Sink], object]) -> list[tuple[Sink, Exception]]:
        """Do *what* with every sink.

        Returns:
            The ordinary sinks that failed, and how. They are closed and gone.

        Raises:
            Exception: What a critical sink raised, after all others have been told.
        """
        with self._lock:
            failed = [pair for sink in self._sinks if (pair := _try(sink, what)) is not None]
            ordinary = [pair for pair in failed if not pair[0].critical]
            for sink, error in ordinary:
                self._sinks.remove(sink)
                _try(sink, lambda s, e=error: s.close(f"stopped: {e}"))  # type: ignore[misc] # default binds now
        for sink, error in failed:
            if sink.critical:
                raise error
        return ordinary

    def close(self, status: str) -> None:
        """Close every sink and let it go.

        Raises:
            Exception: What a critical sink raised, after all others have been closed.
        """
        with self._lock:
            sinks, self._sinks = self._sinks, []
        errors = [pair for sink in sinks if (pair := _try(sink, lambda s: s.close(status)))]
        for sink, error in errors:
            if sink.critical:
                raise error


def _try(sink: Sink, what: Callable[[Sink], object]) -> tuple[Sink, Exception] | None:
    try:
        what(sink)
    except Exception as error:  # noqa: BLE001 - the border where sinks are kept apart
        return sink, error
    return None
