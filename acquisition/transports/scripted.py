"""A line that plays a script: for tests, and for showing what a session does with trouble."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import replace

from acquisition.clock import Clock
from acquisition.errors import TransportLost
from acquisition.transports.base import READ_WAIT_S
from firmware_protocol.ends import RigEnd
from firmware_protocol.messages import (
    Fault,
    HostMessage,
    Identify,
    Identity,
    Outcome,
    Reply,
    SampleBlock,
    Start,
    Status,
    Stop,
)

Line = bytes | Exception | float | Identity | SampleBlock | Status | Fault


class ScriptedTransport:
    """Answers as a rig does and, once started, plays one line of its script per read.

    Args:
        identity: Who answers; None: nobody, and the script plays at once.
        script: Bytes come as they are; messages as frames; an exception is raised (and what
            follows comes after the next start); a number is so many seconds of silence; an
            `Identity` answers from then on.
        clock: Moved on by what a read would wait.
        opens: What the first attempts to open raise; None opens.
        endless: Silence at the end of the script instead of `finished`.

    Attributes:
        heard: The commands that came, in order.
    """

    name = "scripted:"

    def __init__(
        self,
        identity: Identity | None,
        script: Iterable[Line],
        *,
        clock: Clock,
        opens: Iterable[Exception | None] = (),
        endless: bool = False,
    ) -> None:
        self.heard: list[HostMessage] = []
        self.finished = False
        self._identity = identity
        self._script = deque(script)
        self._clock = clock
        self._opens = deque(opens)
        self._endless = endless
        self._rig = RigEnd()
        self._answers = b""
        self._is_open = False
        self._streaming = identity is None

    def open(self) -> None:
        """Open, or raise what the script says."""
        trouble = self._opens.popleft() if self._opens else None
        if trouble is not None:
            raise trouble
        self._is_open = True
        self._rig = RigEnd()
        self._answers = b""
        self._streaming = self._identity is None

    def read(self) -> bytes:
        """Return an answer, else the next line of the script.

        Raises:
            TransportLost: It is not open.
            Exception: What the script says.
        """
        if not self._is_open:
            raise TransportLost(f"{self.name} not open")
        if self._answers:
            answers, self._answers = self._answers, b""
            return answers
        if self._streaming and self._script:
            return self._play(self._script.popleft())
        self.finished = not self._script and not self._endless
        self._clock.sleep(READ_WAIT_S)
        return b""

    def write(self, data: bytes) -> None:
        """Take commands.

        Raises:
            TransportLost: It is not open.
        """
        if not self._is_open:
            raise TransportLost(f"{self.name} not open")
        for message in self._rig.receive(data):
            if isinstance(message, HostMessage):
                self.heard.append(message)
                self._answer(message)

    def close(self) -> None:
        """Close."""
        self._is_open = False

    def _play(self, line: Line) -> bytes:
        if isinstance(line, Exception):
            raise line
        if isinstance(line, Identity):
            self._identity = line
            return b""
        if isinstance(line, int | float):
            self._clock.sleep(line)
            return b""
        return line if isinstance(line, bytes) else self._rig.send(line)

    def _answer(self, message: HostMessage) -> None:
        if self._identity is None:
            return
        if isinstance(message, Identify):
            answer = self._rig.send(replace(self._identity, request_id=message.request_id))
        elif isinstance(message, Start | Stop):
            self._streaming = isinstance(message, Start)
            answer = self._rig.send(Reply(message.request_id, Outcome.DONE))
        else:
            return  # as a rig that is hard of hearing: a script is read for what it says
        self._answers += answer
