"""A session with a rig: what comes over the line goes to the sinks, until it ends loudly.

The work is a step function; who calls it (a thread, a test with its own clock) is a detail.
"""

from __future__ import annotations

import logging
import re
from collections import deque
from collections.abc import Callable

from acquisition.blocks import StreamBlock
from acquisition.clock import NS_PER_S, Clock
from acquisition.clock_fit import SyncExchange
from acquisition.errors import AcquisitionError, RigError
from acquisition.health import Health, LinkState
from acquisition.link import Link, News
from acquisition.recording.model import Event, LinkCounts
from acquisition.session_thread import SessionThread
from acquisition.sinks import Sink, SinkBase, SinkSet
from acquisition.transports.base import Transport
from firmware_protocol.messages import Fault, Identity

__all__ = ["COMPLETE", "Health", "LinkState", "Session", "SessionThread", "Sink", "SinkBase"]

COMPLETE = "complete"
MAX_EVENT_BYTES = 1000
"""An event of this length fits a recording uncut."""

EVENT_KIND = re.compile(r"[a-z][a-z_]{0,23}")
log = logging.getLogger(__name__)


class Session:
    """Steps the line to one rig and tells the sinks.

    Args:
        transport: The closed line; the session opens and closes it.
        clock: Times the waits, stamps what arrives.
        patience_s: How long a lost line may stay away before the session ends; None: for ever.

    Attributes:
        status: How it ended: ``complete`` or ``stopped: <reason>``; empty before.
    """

    def __init__(
        self, transport: Transport, *, clock: Clock, patience_s: float | None = None
    ) -> None:
        self._clock = clock
        self._port_name = transport.name
        self._link = Link(transport, clock=clock, patience_s=patience_s)
        self._sinks = SinkSet()
        self._events: deque[Event] = deque()
        self._state: LinkState | None = None  # once it has ended
        self._enough = ""
        self.status = ""

    @property
    def state(self) -> LinkState:
        """Where the session stands."""
        return self._state or self._link.state

    @property
    def identity(self) -> Identity | None:
        """What the rig last said of itself, None before."""
        return self._link.identity

    @property
    def counts(self) -> LinkCounts:
        """The accounts so far."""
        return self._link.intake.counts

    def connect(self) -> Identity:
        """Step until the rig is known and was asked to start; no samples have come yet.

        Raises:
            PortError: The line cannot be opened.
            RigError: Nothing usable answers.
            TransportLost: The line went away.
        """
        while self.state in (LinkState.CONNECTING, LinkState.IDENTIFYING):
            self._clock.sleep(self.step())
        if self.identity is None:
            raise RigError(f"{self._port_name}: ended before the rig said who it is")
        return self.identity

    def step(self) -> float:
        """Do one piece of work.

        Returns:
            Seconds to wait before the next.

        Raises:
            AcquisitionError: The session has ended, for the reason given.
        """
        if self.state.ended:
            return 0.0
        try:
            wait_s = 0.0 if self._enough else self._link.step()
            self._pass_on()
        except Exception as error:
            self._end_after(error)
            raise
        if self._enough or self._link.state.ended:
            self._end(self._enough or COMPLETE, LinkState.FINISHED)
        return wait_s

    def add_sink(self, sink: Sink) -> None:
        """Let *sink* hear everything from now on; from any thread."""
        self._sinks.add(sink, self.counts)

    def remove_sink(self, sink: Sink) -> None:
        """Let *sink* go; it is not closed. From any thread.

        Raises:
            ValueError: It is not (or no longer) here.
        """
        self._pass_on_events()
        self._sinks.remove(sink, self.counts)

    def mark(self, kind: str, text: str) -> Event:
        """Note that something happened just now; from any thread.

        Args:
            kind: A lower-case word, such as ``zero`` or ``mark``.
            text: For people.

        Returns:
            The event; the sinks hear of it with the next step.

        Raises:
            ValueError: *kind* is no such word, or *text* is too long for a recording.
        """
        if not EVENT_KIND.fullmatch(kind):
            raise ValueError(f"kind of event {kind!r} must be a short lower-case word")
        if "\0" in text or len(text.encode("utf-8", "replace")) > MAX_EVENT_BYTES:
            raise ValueError(f"text of an event: at most {MAX_EVENT_BYTES} bytes, none of them 0")
        event = Event(self._clock.now_ns(), self._link.intake.device_time_us, kind, text)
        self._events.append(event)
        return event

    def finish(self, status: str = COMPLETE) -> None:
        """Ask for the end: the next step comes to it. From any thread; the first call counts.

        Args:
            status: ``complete`` or ``stopped: <reason>``.
        """
        self._enough = self._enough or status

    def health(self) -> Health:
        """Return how the link is; from any thread."""
        link, intake = self._link, self._link.intake
        block_ns = intake.block_ns
        return Health(
            state=self.state,
            port_name=self._port_name,
            last_block_age_s=(
                None if block_ns is None else (self._clock.now_ns() - block_ns) / NS_PER_S
            ),
            counts=intake.counts,
            rates_hz={
                tracker.spec.name: tracker.rate_hz
                for tracker in intake.trackers.values()
                if tracker.rate_hz is not None
            },
            segment=intake.segment,
            message=link.message,
        )

    def close(self, status: str = COMPLETE) -> None:
        """End now, in the thread that steps: line and sinks are closed. Twice is fine.

        Raises:
            AcquisitionError: A critical sink could not be closed properly.
        """
        if self._state is None:
            self._end(status, LinkState.CLOSED)

    def _pass_on(self) -> None:
        for item in self._link.take_news():
            self._tell_all(_telling(item))
        self._pass_on_events()
        counts = self.counts
        self._tell_all(lambda sink: sink.on_step(counts))

    def _pass_on_events(self) -> None:
        while self._events:
            self._tell_all(_telling(self._events.popleft()))

    def _tell_all(self, what: Callable[[Sink], object]) -> None:
        for sink, error in self._sinks.tell(what):
            name = type(sink).__name__
            log.warning("%s failed and was taken off", name, exc_info=error)
            text = f"{name} failed and was taken off: {error}"
            self.mark("sink_failed", text.replace("\0", "")[: MAX_EVENT_BYTES // 4])

    def _end(self, status: str, state: LinkState) -> None:
        self._state = state
        self.status = status
        try:
            self._link.close()
            self._pass_on()
        finally:
            self._sinks.close(status)

    def _end_after(self, error: Exception) -> None:
        try:
            self._end(f"stopped: {error}", LinkState.CLOSED)
        except AcquisitionError as worse:  # a recording could not be finished either
            raise worse from error


def _telling(item: News) -> Callable[[Sink], object]:
    if isinstance(item, StreamBlock):
        return lambda sink: sink.on_block(item)
    if isinstance(item, Fault):
        return lambda sink: sink.on_fault(item)
    if isinstance(item, SyncExchange):
        return lambda sink: sink.on_sync(item)
    return lambda sink: sink.on_event(item)
