"""The line to one rig as a state machine: connects, asks, starts, notices loss, comes back.

It turns bytes into blocks, faults and events, and accounts for all that did not arrive. Line
noise never raises, it is counted. While the rig was never known, whatever is wrong raises;
later a loss is an event, and the line is tried again with bounded back-off.
"""

from __future__ import annotations

import contextlib

from acquisition.acceptance import reason_to_refuse
from acquisition.blocks import StreamBlock
from acquisition.clock import NS_PER_S, Clock
from acquisition.clock_fit import SyncExchange
from acquisition.errors import PortError, RigError, TransportLost
from acquisition.health import LinkState
from acquisition.intake import ClockWentBack, Intake
from acquisition.recording.model import Event
from acquisition.transports.base import Transport
from firmware_protocol.codec import Malformed
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import DELIMITER, FrameFault
from firmware_protocol.messages import (
    Fault,
    Identity,
    Outcome,
    Ping,
    Pong,
    Reply,
    RigMessage,
    SampleBlock,
    Start,
    Status,
    Stop,
)
from firmware_protocol.runs import BlockRun

ANSWER_WAITS_S = (0.5, 1.0, 2.0, 2.0)
"""How long to wait for an answer before asking again. In all, longer than a board takes that
is reset by the opening of its port."""
RETRY_WAITS_S = (0.1, 0.2, 0.4, 0.8, 1.6, 2.0)
"""Between attempts to re-open a lost line; the last one again and again."""
PING_S = 1.0
NS_PER_US = 1000
SILENT_EVENT = "silent"
"""Kind of event of a stream of which nothing comes while others do."""
SILENCE_S = 3.0
"""A rig sends its status once a second: after this the line is taken for dead."""

ASKED = (LinkState.READY, LinkState.STREAMING)
"""The rig is known, and was asked to start."""
News = StreamBlock | Fault | Event | SyncExchange


class Link:
    """Keeps the line to one rig.

    Args:
        transport: The closed line.
        clock: Times the waits, stamps what arrives.
        patience_s: How long a lost line may stay away; None: for ever.

    Attributes:
        state: Where it stands.
        identity: Who answers, None before the first answer.
        intake: The accounts of what came.
        message: What is wrong, for people; empty when all is well.
    """

    def __init__(self, transport: Transport, *, clock: Clock, patience_s: float | None) -> None:
        self.state = LinkState.CONNECTING
        self.identity: Identity | None = None
        self.intake = Intake()
        self.message = ""
        self._transport = transport
        self._clock = clock
        self._patience_s = patience_s
        self._host = HostEnd()
        self._news: list[News] = []
        self._attempt = 0
        self._retries = 0
        self._deadline_ns = 0
        self._ping_ns = 0
        self._asked_us: int | None = None
        self._heard_bytes = 0
        self._heard_ns = 0
        self._lost_ns: int | None = None
        self._restarted = False
        self._stopped = False
        self._silent: tuple[str, ...] = ()

    def take_news(self) -> list[News]:
        """Return what came since the last time, in order."""
        news, self._news = self._news, []
        return news

    def step(self) -> float:
        """Do one piece of work.

        Returns:
            Seconds to wait before the next.

        Raises:
            PortError: The line cannot be opened, and never was.
            RigError: Nothing usable answers, and never did.
            TransportLost: The line was lost before a rig was known, or for too long.
        """
        if self.state is LinkState.CONNECTING:
            self._open()
            return 0.0
        if self.state is LinkState.LOST:
            return self._reconnect()
        return self._listen()

    def close(self) -> None:
        """Tell the rig to stop, if it can be told, and let go of the line."""
        if self.state in ASKED:
            with contextlib.suppress(TransportLost):  # then it needs no telling
                # Of whom we know, though another may have named itself in what was read last.
                self._transport.write(self._host.ask(Stop))
        self._transport.close()

    # --- asking ------------------------------------------------------------------------

    def _open(self) -> None:
        self._transport.open()
        self._host = HostEnd()
        self._ask()

    def _ask(self) -> None:
        self.state = LinkState.IDENTIFYING
        self._attempt = 0
        self._heard_bytes = 0
        self._heard_ns = self._clock.now_ns()
        self._send_question()

    def _send_question(self) -> None:
        wait_s = ANSWER_WAITS_S[self._attempt]
        self._attempt += 1
        self._deadline_ns = self._clock.now_ns() + round(wait_s * NS_PER_S)
        if self.state is LinkState.IDENTIFYING:
            self._transport.write(self._host.identify())
        else:
            # Whatever an earlier host left running ends first, so that counting begins at 0.
            # A delimiter first: what was cut off before, on its way, must not spoil the Stop.
            self._transport.write(DELIMITER + self._host.ask(Stop) + self._host.ask(Start))

    def _no_answer(self) -> float:
        if self._attempt < len(ANSWER_WAITS_S):
            self._send_question()
            return 0.0
        heard = f"heard {self._heard_bytes} bytes but no answer: wrong baud rate, or no rig of ours"
        if not self._heard_bytes:
            heard = "heard nothing: is the rig powered, is this its port?"
        if self.state is LinkState.READY:
            heard = "the rig does not answer the command to start: restart it"
        return self._not_usable(f"{self._transport.name}: {heard}")

    def _refuse(self, reason: str) -> None:
        told = self.message
        self._not_usable(f"{self._transport.name}: {reason}")
        if self.message != told:
            self._tell("refused", reason)

    def _not_usable(self, reason: str) -> float:
        if self.intake.segment < 0 and self._lost_ns is None:
            raise RigError(reason)
        self._note_loss(reason)
        return self._let_go(reason)

    # --- listening ---------------------------------------------------------------------

    def _listen(self) -> float:
        try:
            data = self._transport.read()
            return self._hear(data)
        except TransportLost as loss:
            return self._lose(str(loss))

    def _hear(self, data: bytes) -> float:
        now_ns = self._clock.now_ns()
        self._heard_bytes += len(data)
        for item in self._host.receive_runs(data):
            if isinstance(item, BlockRun):
                self._hear_run(item, now_ns)
            else:
                self._hear_one(item, now_ns)
        if self.state is LinkState.LOST:
            return self._retry_wait_s()
        if not data and self._transport.finished:
            self.state = LinkState.FINISHED
        return 0.0 if self.state.ended else self._watch(now_ns)

    def _hear_run(self, run: BlockRun, now_ns: int) -> None:
        streaming = self.state is LinkState.STREAMING
        blocks = self.intake.take_run(run, now_ns) if streaming else None
        if blocks is None:
            for payload in run.payloads():
                self._hear_one(self._host.hear(payload), now_ns)
        else:
            self._heard_ns = now_ns
            self._news += blocks

    def _hear_one(self, item: RigMessage | FrameFault | Malformed, now_ns: int) -> None:
        message = self.intake.sort(item)
        if message is None:
            return
        self._heard_ns = now_ns
        try:
            self._take(message, now_ns)
        except ClockWentBack:
            self._after_a_step_back()

    def _watch(self, now_ns: int) -> float:
        if self.state is LinkState.STREAMING:
            if now_ns - self._heard_ns > SILENCE_S * NS_PER_S:
                return self._lose(f"{self._transport.name}: nothing heard for {SILENCE_S:g} s")
            self._watch_streams()
            if now_ns >= self._ping_ns:
                return self._ping(now_ns)
        elif now_ns >= self._deadline_ns:
            return self._no_answer()
        return 0.0

    def _watch_streams(self) -> None:
        """Say which streams fall silent while the line is well, and which come back."""
        silent = self.intake.silent_streams()
        if silent == self._silent:
            return
        for name in set(silent) - set(self._silent):
            self._tell(SILENT_EVENT, f"nothing comes of stream {name!r} while the rig goes on")
        for name in set(self._silent) - set(silent):
            self._tell("heard", f"stream {name!r} is back")
        self._silent = silent
        names = ", ".join(silent)
        self.message = f"nothing comes of {names}: look at its cable" if silent else ""

    def _ping(self, now_ns: int) -> float:
        """Ask for the rig's clock: a rig that does not know the question costs nothing."""
        self._ping_ns = now_ns + round(PING_S * NS_PER_S)
        asked_us = self._asked_us = now_ns // NS_PER_US
        try:
            self._transport.write(self._host.ask(lambda number: Ping(number, asked_us)))
        except TransportLost as loss:
            return self._lose(str(loss))
        return 0.0

    def _take_pong(self, pong: Pong, now_ns: int) -> None:
        if self.state is LinkState.STREAMING and pong.host_time_us == self._asked_us:
            # One answer to the newest question: a late or a repeated one says little, and one
            # to a question of another day, as in bytes played back, would be wrong.
            self._asked_us = None
            asked_ns = pong.host_time_us * NS_PER_US
            times = (asked_ns, pong.received_us, pong.sent_us, now_ns)
            self._news.append(SyncExchange(*times, segment=self.intake.segment))

    def _take(self, message: RigMessage, now_ns: int) -> None:
        if isinstance(message, SampleBlock):
            self._take_block(message, now_ns)
        elif isinstance(message, Status):
            self._take_status(message)
        elif isinstance(message, Fault):
            self._news.append(message)
        elif isinstance(message, Identity):
            self._take_identity(message)
        elif isinstance(message, Reply):
            self._take_reply(message)
        elif isinstance(message, Pong):
            self._take_pong(message, now_ns)

    def _take_block(self, raw: SampleBlock, now_ns: int) -> None:
        if self.state is not LinkState.STREAMING:
            self.intake.drop(raw)  # what an earlier start left in the line
            return
        block = self.intake.take(raw, now_ns)
        if block is not None:
            self._news.append(block)

    def _after_a_step_back(self) -> None:
        if self.state is LinkState.STREAMING:
            self._note_loss("the rig's clock went back: it has restarted")
            self._ask()

    def _take_status(self, status: Status) -> None:
        self.intake.take_status(status)
        streaming = self.state is LinkState.STREAMING
        if streaming and not (status.streaming or self._transport.finished):
            self._stopped = True  # by itself, or by a restart: its boot count will tell
            self._ask()

    def _take_identity(self, identity: Identity) -> None:
        known = self.identity
        restarted = known is not None and identity.boot_count != known.boot_count
        if self.state is LinkState.IDENTIFYING:
            self._accept(identity, restarted=restarted)
        elif self.state in ASKED and (restarted or reason_to_refuse(identity, known)):
            # Nobody asked; whoever is there now answers for itself, and may be refused then.
            if self.state is LinkState.STREAMING:
                self._note_loss("the rig has restarted" if restarted else "another rig speaks")
            self._ask()

    def _accept(self, identity: Identity, *, restarted: bool) -> None:
        reason = reason_to_refuse(identity, self.identity)
        if reason:
            self._refuse(reason)
        elif self._stopped and not restarted:
            self.state = LinkState.FINISHED
            self._tell("ended", "the rig has stopped by itself")
        else:
            if self._stopped:
                self._note_loss("the rig has restarted")
            self._restarted = restarted
            self.identity = identity
            self.state = LinkState.READY
            self._attempt = 0
            self._send_question()

    def _take_reply(self, reply: Reply) -> None:
        ours = reply.request_id == self._host.last_request
        if self.identity is None or self.state is not LinkState.READY or not ours:
            return
        if reply.outcome is Outcome.DONE:
            self._begin_segment(self.identity)
        else:
            self._refuse(f"the rig will not start ({reply.outcome.name}): restart it")

    def _begin_segment(self, identity: Identity) -> None:
        self.intake.begin_segment(identity.streams)
        self.state = LinkState.STREAMING
        self._ping_ns = self._clock.now_ns()
        self.message = ""
        self._silent = ()
        self._retries = 0
        self._stopped = False
        lost_ns, self._lost_ns = self._lost_ns, None
        if lost_ns is not None:
            last_ns = min(lost_ns, self.intake.block_ns or lost_ns)
            away_s = (self._clock.now_ns() - last_ns) / NS_PER_S
            zero = "; it has restarted: zero it again" if self._restarted else ""
            self._tell("resumed", f"back after {away_s:.1f} s{zero}")

    # --- loss and return ---------------------------------------------------------------

    def _lose(self, reason: str) -> float:
        if self.identity is None:
            raise TransportLost(reason)
        self._note_loss(reason)
        return self._let_go(reason)

    def _note_loss(self, reason: str) -> None:
        self.message = reason
        if self._lost_ns is None:
            self._lost_ns = self._clock.now_ns()
            self._tell("lost", reason)

    def _let_go(self, reason: str) -> float:
        self._transport.close()
        self.state = LinkState.LOST
        self.message = reason
        return self._retry_wait_s()

    def _reconnect(self) -> float:
        self._give_up_after_patience()
        self._retries += 1
        try:
            self._open()
        except (PortError, TransportLost) as trouble:
            return self._let_go(str(trouble))
        return 0.0

    def _retry_wait_s(self) -> float:
        return RETRY_WAITS_S[min(self._retries, len(RETRY_WAITS_S) - 1)]

    def _give_up_after_patience(self) -> None:
        if self._patience_s is None or self._lost_ns is None:
            return
        if self._clock.now_ns() - self._lost_ns > self._patience_s * NS_PER_S:
            raise TransportLost(
                f"{self._transport.name}: not back within {self._patience_s:g} s ({self.message})"
            )

    def _tell(self, kind: str, text: str) -> None:
        self._news.append(Event(self._clock.now_ns(), self.intake.device_time_us, kind, text))
