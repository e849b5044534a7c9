"""A recording played back through the ordinary path, as if its rig were there again.

Paced by the rig's clock, so that a recording made faster than real time plays in real time.
Where the recording has a new segment the line is lost once. Sample numbers begin at 0 in each
segment, as after any start; gaps between them stay.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from acquisition.clock import Clock, SystemClock
from acquisition.errors import PortError, RecordingError, TransportLost
from acquisition.recording.raw_log import find_raw_log
from acquisition.recording.reader import WireBlock, WireStream, read_wire, wire_blocks
from acquisition.transports.base import READ_WAIT_S, Transport
from acquisition.transports.replay_bytes import ReplayBytesPort
from acquisition.transports.url import PortUrl, play_speed
from acquisition.virtual_rig.pacing import Pacer
from firmware_protocol.codec import samples_per_frame
from firmware_protocol.ends import RigEnd
from firmware_protocol.errors import ProtocolError
from firmware_protocol.messages import (
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

STATUS_US = 1_000_000
SEQUENCE_MASK = 0xFFFFFFFF


class ReplayPort:
    """A recording as a byte pipe.

    Args:
        name: What to call it in messages.
        path: The recording.
        speed: 1 is real time; infinity gives 20 ms of rig time at each `read`, at once.
        clock: For pacing.

    Attributes:
        path: The recording.
        finished: Everything has been read.
    """

    def __init__(
        self, name: str, path: Path, *, speed: float = 1.0, clock: Clock | None = None
    ) -> None:
        self.name = name
        self.finished = False
        self.path = path
        self._speed = speed
        self._clock = clock or SystemClock()
        self._identity: Identity | None = None
        self._segment = 0
        self._is_open = False

    def open(self) -> None:
        """Read the recording; after a loss of line, go on where it was.

        Raises:
            PortError: It cannot be read, or holds what no wire can bring.
        """
        if self._identity is None:
            self._identity = self._load()
        self._rig = RigEnd()
        self._answers = b""
        self._streaming = False
        self._is_open = True

    def read(self) -> bytes:
        """Return the blocks that are due, waiting shortly if none is.

        Raises:
            TransportLost: Not open, or here the recording has a new segment.
        """
        self._require_open()
        if self._answers:
            answers, self._answers = self._answers, b""
            return answers
        self.finished = self._next is None
        if not self._streaming or self._next is None:
            self._clock.sleep(READ_WAIT_S)
            return b""
        if self._next.segment != self._segment:
            self._segment = self._next.segment
            self.close()
            raise TransportLost(f"{self.name}: here the line was lost when this was recorded")
        data = self._due(self._pacer.elapsed_us())
        if not data and not self._pacer.unpaced:
            self._clock.sleep(READ_WAIT_S / 4)
        return data

    def write(self, data: bytes) -> None:
        """Answer the host's commands with the next `read`.

        Raises:
            TransportLost: Not open.
        """
        self._require_open()
        for message in self._rig.receive(data):
            if isinstance(message, HostMessage):
                self._answers += self._answer(message)

    def close(self) -> None:
        """Stop playing."""
        self._is_open = False

    def _load(self) -> Identity:
        try:
            identity, streams = read_wire(self.path)
            self._rig = RigEnd()
            self._rig.send(identity)
        except (RecordingError, ProtocolError) as cause:
            raise PortError(f"{self.name}: cannot be played back: {cause}") from cause
        if not all(map(_fits_the_wire, streams)):
            raise PortError(f"{self.name}: cannot be played back: blocks longer than a frame")
        self._blocks: Iterator[WireBlock] = wire_blocks(streams)
        self._next = next(self._blocks, None)
        self._segment = self._next.segment if self._next else 0
        return identity

    def _answer(self, message: HostMessage) -> bytes:
        if isinstance(message, Identify) and self._identity is not None:
            return self._rig.send(replace(self._identity, request_id=message.request_id))
        if not isinstance(message, Start | Stop):
            return self._rig.send(Reply(message.request_id, Outcome.UNKNOWN_COMMAND))
        self._streaming = isinstance(message, Start)
        if self._streaming and self._next is not None:
            self._begin_us = self._next.block.device_time_us
            self._next_status_us = STATUS_US
            self._first: dict[int, int] = {}
            self._pacer = Pacer(self._clock, self._speed)
            self._pacer.resume()
        return self._rig.send(Reply(message.request_id, Outcome.DONE))

    def _due(self, elapsed_us: int) -> bytes:
        now_us = self._begin_us + elapsed_us
        frames = []
        while self._next is not None and self._next.segment == self._segment:
            block = self._next.block
            if block.device_time_us + block.span_us > now_us:
                break
            frames.append(self._rig.send(self._numbered_from_0(block)))
            self._next = next(self._blocks, None)
        if elapsed_us >= self._next_status_us:
            self._next_status_us += STATUS_US
            frames.append(self._rig.send(Status(now_us, streaming=True, overrun_samples=0)))
        return b"".join(frames)

    def _numbered_from_0(self, block: SampleBlock) -> SampleBlock:
        first = self._first.setdefault(block.stream_id, block.sequence)
        return replace(block, sequence=(block.sequence - first) & SEQUENCE_MASK)

    def _require_open(self) -> None:
        if not self._is_open:
            raise TransportLost(f"{self.name}: not open")


def replay_from_url(url: PortUrl) -> Transport:
    """Return what plays ``replay:FILE?speed=max&raw=no``.

    The very bytes are played if the recording has its raw log beside it; ``raw=no`` plays its
    blocks all the same, ``raw=yes`` insists on the bytes.

    Raises:
        PortError: The file is not named, an option makes no sense, or there is no raw log.
    """
    if not url.address:
        raise PortError(f"{url.text}: name a recording, such as replay:trial.h5")
    options = url.read_options({"speed": play_speed, "raw": _yes_or_no})
    wanted, path = options.pop("raw", None), Path(url.address)
    log = None if wanted is False else find_raw_log(path)
    if log is not None:
        return ReplayBytesPort(url.text, log, **options)
    if wanted:
        raise PortError(f"{url.text}: has no raw log beside it; without raw=yes its blocks play")
    return ReplayPort(url.text, path, **options)


def _yes_or_no(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError("yes or no")
    return text == "yes"


def _fits_the_wire(stream: WireStream) -> bool:
    blocks = stream.blocks
    short = blocks["sample_count"] <= samples_per_frame(stream.spec)
    return bool((short & (blocks["device_time_us"] >= 0)).all())
