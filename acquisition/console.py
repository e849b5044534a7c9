"""Talks with a rig that does not stream: settings, store, self-test, one question at a time.

Every question has a number that its answer must carry, a time-out of its own, and is asked
again if nobody answers: a repeated command does no harm. What goes wrong is one clear line.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import TracebackType
from typing import TypeVar

from acquisition.acceptance import reason_to_refuse
from acquisition.clock import NS_PER_S, Clock, SystemClock
from acquisition.errors import RigError, RigRefuses
from acquisition.link import ANSWER_WAITS_S
from acquisition.plain_text import one_line
from acquisition.transports.base import Transport
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import DELIMITER, FrameFault
from firmware_protocol.messages import (
    Configuration,
    Configure,
    HostMessage,
    Identify,
    Identity,
    Outcome,
    ReadConfiguration,
    ReadStore,
    Reply,
    RestartCounters,
    RigMessage,
    SelfTest,
    SelfTestResult,
    Stop,
    StoreValue,
    StreamSpec,
    WriteStore,
    ZeroElectrical,
)

WAITS_S: dict[type[HostMessage], tuple[float, ...]] = {
    Identify: ANSWER_WAITS_S,
    Stop: ANSWER_WAITS_S,
    Configure: (1.0, 1.0, 1.0),
    ReadConfiguration: (1.0, 1.0, 1.0),
    ReadStore: (1.0, 1.0, 1.0),
    RestartCounters: (1.0, 1.0, 1.0),
    WriteStore: (2.0, 2.0),
    SelfTest: (5.0, 5.0),
    ZeroElectrical: (5.0, 5.0),
}
"""How long to wait for an answer before asking again, and how often; PROTOCOL.md, section 5."""

REFUSALS = {
    Outcome.UNKNOWN_COMMAND: "its firmware does not know that command; bring in a newer one",
    Outcome.BAD_ARGUMENT: "it says the argument makes no sense",
    Outcome.NOT_POSSIBLE_NOW: "it says that is not possible now",
    Outcome.STORE_FULL: "its store is full; remove a key that is not needed",
    Outcome.STORE_FAILED: "its memory does not take it; the old or the new value is there",
}

Answer = Identity | Reply | Configuration | SelfTestResult | StoreValue
Wanted = TypeVar("Wanted", bound=Answer)


def who_answers(transport: Transport, *, clock: Clock | None = None) -> Identity:
    """Ask who is at the far end of a line, and change nothing there.

    Nothing but Identify is sent: whoever is no rig hears a few bytes that say nothing to it,
    and a rig that is being used goes on.

    Args:
        transport: The closed line; it is closed again.
        clock: Times the waits.

    Raises:
        PortError: The line cannot be opened.
        RigError: Nobody answers, or no rig that can be used.
        TransportLost: The line went away.
    """
    transport.open()
    try:
        return RigConsole(transport, clock=clock).identify()
    finally:
        transport.close()


class RigConsole:
    """A line to a rig at rest; use it with ``with``.

    Args:
        transport: The closed line; it is opened and closed here.
        clock: Times the waits.

    Attributes:
        identity: Who answers; known once the line is open.
    """

    identity: Identity

    def __init__(self, transport: Transport, *, clock: Clock | None = None) -> None:
        self._transport = transport
        self._clock = clock or SystemClock()
        self._host = HostEnd()
        self._damaged = 0
        self._heard_bytes = 0

    def __enter__(self) -> RigConsole:
        """Open the line, learn who is there and stop what an earlier host left running.

        Raises:
            PortError: The line cannot be opened.
            RigError: Nobody answers, or no rig that can be used.
            TransportLost: The line went away.
        """
        self._transport.open()
        try:
            self.identify()
            self._do(Stop, "stop")
        except BaseException:
            self._transport.close()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the line."""
        self._transport.close()

    def identify(self) -> Identity:
        """Ask who is there: the stream table tells the rates that are configured.

        Raises:
            RigError: Nobody answers, or no rig that can be used.
        """
        told = self._ask(Identify, Identity, "the question who it is")
        self.identity = replace(told, firmware_version=one_line(told.firmware_version))
        reason = reason_to_refuse(self.identity, None)
        if reason:
            raise RigError(f"{self._transport.name}: {reason}")
        return self.identity

    def stream(self, name: str) -> StreamSpec:
        """Return the row of a stream by its name.

        Raises:
            RigError: The rig has none of that name.
        """
        for spec in self.identity.streams:
            if spec.name == name:
                return spec
        known = ", ".join(spec.name for spec in self.identity.streams)
        raise RigError(f"{self._transport.name}: no stream {name!r}; the rig has {known}")

    def configuration(self, stream_id: int) -> Configuration:
        """Return how a stream will be sampled and sent from the next start on.

        Raises:
            RigError: There is no such stream, or the rig is silent.
        """
        return self._ask(
            lambda number: ReadConfiguration(number, stream_id),
            Configuration,
            f"the question for the configuration of stream {stream_id}",
        )

    def configure(self, stream_id: int, rate_hz: float, block_samples: int = 0) -> Configuration:
        """Set how a stream is sampled and sent, from the next start until power-off.

        Args:
            stream_id: Which stream.
            rate_hz: Wanted rate; the rig takes the nearest it can.
            block_samples: Samples in a block; 0 leaves it to the rig.

        Returns:
            What the rig has made of it.

        Raises:
            RigError: It refuses, or is silent.
        """
        return self._ask(
            lambda number: Configure(number, stream_id, rate_hz, block_samples),
            Configuration,
            f"the command to configure stream {stream_id}",
        )

    def self_test(self) -> SelfTestResult:
        """Let the rig test its bridges, its IMU and its store.

        Raises:
            RigError: It cannot, or is silent.
        """
        told = self._ask(SelfTest, SelfTestResult, "the command to test itself")
        return replace(told, detail=one_line(told.detail))

    def restart_counters(self) -> None:
        """Set the rig's counters to 0.

        Raises:
            RigError: It refuses, or is silent.
        """
        self._do(RestartCounters, "restart its counters")

    def zero_electrical(self, stream_id: int) -> None:
        """Let the amplifiers of a stream balance themselves, hands off.

        Raises:
            RigError: It cannot, or is silent.
        """
        self._do(lambda number: ZeroElectrical(number, stream_id), "balance its amplifiers")

    def read(self, key: str) -> bytes:
        """Return the value that the rig keeps under a key, empty if there is none.

        Raises:
            RigError: It refuses, or is silent.
            ProtocolMisuse: The key is longer than 32 bytes.
        """
        return self._ask(
            lambda number: ReadStore(number, key), StoreValue, f"the question for {key!r}"
        ).value

    def stored_keys(self) -> tuple[str, ...]:
        """Return what the rig keeps values for.

        Raises:
            RigError: It refuses, or is silent.
        """
        names = self.read("").decode("utf-8", "replace").split("\n")
        return tuple(name for name in names if name)

    def write(self, key: str, value: bytes) -> None:
        """Keep a value on the rig over power-off; an empty one removes the key.

        Raises:
            RigError: Its store is full or does not take it, or it is silent.
            ProtocolMisuse: Key or value is too long for one message.
        """
        self._do(lambda number: WriteStore(number, key, value), f"keep {key!r}")

    def _do(self, kind: Callable[[int], HostMessage], what: str) -> None:
        self._ask(kind, Reply, f"the command to {what}")

    def _ask(self, kind: Callable[[int], HostMessage], answer: type[Wanted], what: str) -> Wanted:
        waits_s = WAITS_S[type(kind(0))]
        for wait_s in waits_s:
            # The delimiter ends what noise, or a command cut off, has left on the line.
            polite = kind is Identify
            asked = self._host.identify() if polite else DELIMITER + self._host.ask(kind)
            self._transport.write(asked)
            found = self._answer(answer, what, self._clock.now_ns() + round(wait_s * NS_PER_S))
            if found is not None:
                return found
        raise RigError(
            f"{self._transport.name}: the rig is silent: no answer to {what} "
            f"in {sum(waits_s):g} s; {self._guess()}"
        )

    def _guess(self) -> str:
        if self._damaged:
            return f"{self._damaged} pieces of noise were heard: wrong baud rate, or no rig of ours"
        if self._heard_bytes:
            return f"{self._heard_bytes} bytes came that are no frames: wrong baud rate, or no rig"
        return "is it powered, is this its port and baud rate?"

    def _answer(self, answer: type[Wanted], what: str, until_ns: int) -> Wanted | None:
        """Return the answer to the latest question, None if none comes in time."""
        while self._clock.now_ns() < until_ns:
            data = self._transport.read()
            self._heard_bytes += len(data)
            for item in self._host.receive(data):
                self._damaged += isinstance(item, FrameFault)
                if isinstance(item, RigMessage):
                    self._heard_bytes = 0  # a rig it is; what else came is no longer of interest
                if not isinstance(item, Answer) or item.request_id != self._host.last_request:
                    continue
                if isinstance(item, Reply) and item.outcome is not Outcome.DONE:
                    why = REFUSALS.get(item.outcome, item.outcome.name)
                    raise RigRefuses(f"{self._transport.name}: the rig refuses {what}: {why}")
                if isinstance(item, answer):
                    return item
        return None
