"""The very bytes of a raw log played back, paced by the times at which they had arrived.

Noise, cuts and losses of the line come again as they came. Nothing is left out and one thing is
changed: the answer to the command to start names the number of the question asked now. Answers
to other questions stay as they are; nobody asked them, so a session ignores them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from acquisition.clock import NS_PER_S, Clock, SystemClock
from acquisition.errors import PortError, RecordingError, TransportLost
from acquisition.recording.raw_log import Entry, Kind, RawLog
from acquisition.transports.base import READ_WAIT_S
from acquisition.virtual_rig.pacing import Pacer
from firmware_protocol.codec import decode, encode
from firmware_protocol.ends import RigEnd
from firmware_protocol.framing import DELIMITER, encode_frame, open_frame
from firmware_protocol.messages import Reply, Start

NS_PER_US = NS_PER_S // 1_000_000


class ReplayBytesPort:
    """A raw log as a byte pipe.

    Args:
        name: What to call it in messages.
        path: The raw log.
        speed: 1 is real time; infinity gives the bytes of one read at each `read`, at once.
        clock: For pacing.

    Attributes:
        finished: Everything has been read.
    """

    def __init__(
        self, name: str, path: Path, *, speed: float = 1.0, clock: Clock | None = None
    ) -> None:
        self.name = name
        self.finished = False
        self._path = path
        self._speed = speed
        self._clock = clock or SystemClock()
        self._entries: Iterator[Entry] | None = None
        self._next: Entry | None = None
        self._is_open = False

    def open(self) -> None:
        """Go to where the port was opened, the next time after a loss of line.

        Raises:
            PortError: The log cannot be read.
        """
        if self._entries is None:
            self._entries = iter(RawLog(self._path))
            try:
                self._go_on()
            except RecordingError as cause:
                self._entries = None
                raise PortError(f"{self.name}: cannot be played back: {cause}") from cause
        self._skip_to_opening()
        self._origin_ns = self._next.time_ns if self._next else 0
        self._go_on()
        self._pacer = Pacer(self._clock, self._speed)
        self._pacer.resume()
        self._start = _StartAnswer()
        self._is_open = True

    def read(self) -> bytes:
        """Return what is due, waiting shortly if nothing is.

        Raises:
            TransportLost: Not open, or here the line was lost.
        """
        self._require_open()
        held = self._start.fitted(b"")
        if self._start.waiting and not held:
            self._clock.sleep(READ_WAIT_S / 4)
        if held or self._start.waiting:
            return held
        while self._next is not None and self._next.kind in (Kind.WRITTEN, Kind.RECORDING):
            if self._next.kind is Kind.WRITTEN:
                self._start.was_asked(self._next.data)
            self._go_on()
        if self._next is None:
            return self._end()
        if not self._due(self._next):
            self._clock.sleep(READ_WAIT_S / 4)
            return b""
        if self._next.kind is not Kind.READ:
            return self._lose()
        data = self._next.data
        self._go_on()
        return self._start.fitted(data)

    def write(self, data: bytes) -> None:
        """Take the host's commands.

        Raises:
            TransportLost: Not open.
        """
        self._require_open()
        self._start.is_asked(data)

    def close(self) -> None:
        """Stop playing."""
        self._is_open = False

    def _due(self, entry: Entry) -> bool:
        elapsed_ns = self._pacer.elapsed_us() * NS_PER_US
        return self._pacer.unpaced or entry.time_ns - self._origin_ns <= elapsed_ns

    def _go_on(self) -> None:
        self._next = next(self._entries, None) if self._entries else None

    def _skip_to_opening(self) -> None:
        while self._next is not None and self._next.kind is not Kind.OPENED:
            self._go_on()

    def _lose(self) -> bytes:
        self._skip_to_opening()
        if self._next is None:
            return self._end()  # it never came back
        self.close()
        raise TransportLost(f"{self.name}: here the line was lost when this was recorded")

    def _end(self) -> bytes:
        self.finished = True
        self._clock.sleep(READ_WAIT_S)
        return b""

    def _require_open(self) -> None:
        if not self._is_open:
            raise TransportLost(f"{self.name}: not open")


class _StartAnswer:
    """Gives the rig's answer to the command to start the number of the question asked now.

    Attributes:
        waiting: The answer is next, and the question was not asked yet.
    """

    def __init__(self) -> None:
        self.waiting = False
        self._held = b""
        self._old: int | None = None
        self._new: int | None = None

    def was_asked(self, data: bytes) -> None:
        """Note a question of then; only the newest one's answer was heeded."""
        self._old = _start_number(data) or self._old

    def is_asked(self, data: bytes) -> None:
        """Note a question of now."""
        self._new = _start_number(data) or self._new

    def fitted(self, data: bytes) -> bytes:
        """Return *data* with the answer fitted in; holds back what has to wait."""
        data, self._held = self._held + data, b""
        if self._old is None:
            return data
        *frames, rest = data.split(DELIMITER)
        for place, frame in enumerate(frames):
            answer = _reply(frame)
            if answer is not None and answer.request_id == self._old:
                before = b"".join(one + DELIMITER for one in frames[:place])
                return before + self._answered(answer, DELIMITER.join([*frames[place:], rest]))
        self._held = rest
        return data[: len(data) - len(rest)]

    def _answered(self, answer: Reply, data: bytes) -> bytes:
        self.waiting = self._new is None
        if self._new is None:
            self._held = data
            return b""
        fitted = encode_frame(encode(replace(answer, request_id=self._new)))
        self._old = self._new = None
        return fitted + data.partition(DELIMITER)[2]


def _start_number(data: bytes) -> int | None:
    heard = RigEnd().receive(data)
    numbers = [one.request_id for one in heard if isinstance(one, Start)]
    return numbers[-1] if numbers else None


def _reply(frame: bytes) -> Reply | None:
    payload = open_frame(frame)
    message = decode(payload) if isinstance(payload, bytes) else None
    return message if isinstance(message, Reply) else None
