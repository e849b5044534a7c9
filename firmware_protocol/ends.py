"""The two ends of the wire, without the wire: bytes in, messages out, and the other way round.

Each end says only what its role may say; anything else is our own mistake and raises
`ProtocolMisuse`. What comes in cannot raise: it is messages, faults and malformed payloads.
"""

from __future__ import annotations

from collections.abc import Callable

from firmware_protocol.codec import Malformed, decode, encode
from firmware_protocol.errors import ProtocolMisuse
from firmware_protocol.framing import DELIMITER, FrameDecoder, FrameFault, encode_frame
from firmware_protocol.messages import (
    PROTOCOL_MAJOR,
    HostMessage,
    Identify,
    Identity,
    Message,
    RigMessage,
    Start,
    Stop,
)
from firmware_protocol.runs import BlockRun, in_runs

POLITE_REQUESTS = (173, 177, 224)
"""Numbers of Identify whose frame says nothing to any other device: besides the 07 and 01 that
every such frame begins with, and its end, no byte is a control character, letter, digit or sign
(below A0). With number 1 one byte would be 13, which tells a device to stop sending."""


class HostEnd:
    """The host's end: asks and starts; learns who the rig is.

    Attributes:
        identity: The rig's latest answer, None before the first.
        last_request: Number of the latest question; its answer carries the same.
    """

    def __init__(self) -> None:
        self._decoder = FrameDecoder()
        self.last_request = 0
        self.identity: Identity | None = None

    def identify(self) -> bytes:
        """Return the bytes that ask who is there. Allowed at any time.

        They begin with a delimiter, which ends whatever noise the line held before, and have
        one of `POLITE_REQUESTS`: who hears them may be no rig.
        """
        later = (number for number in POLITE_REQUESTS if number > self.last_request)
        self.last_request = next(later, POLITE_REQUESTS[0])
        return DELIMITER + encode_frame(encode(Identify(self.last_request)))

    def start(self) -> bytes:
        """Return the bytes that start all streams.

        Raises:
            ProtocolMisuse: The rig has not said who it is, or speaks another major version.
        """
        self._require_known_rig("start")
        return self.ask(Start)

    def stop(self) -> bytes:
        """Return the bytes that stop all streams.

        Raises:
            ProtocolMisuse: As for `start`.
        """
        self._require_known_rig("stop")
        return self.ask(Stop)

    def receive(self, data: bytes) -> list[RigMessage | FrameFault | Malformed]:
        """Return everything that *data* completes, oldest first."""
        received: list[RigMessage | FrameFault | Malformed] = []
        for item in self.receive_runs(data):
            received += map(self.hear, item.payloads()) if isinstance(item, BlockRun) else [item]
        return received

    def receive_runs(self, data: bytes) -> list[BlockRun | RigMessage | FrameFault | Malformed]:
        """Return what `receive` does, but sample blocks and statuses in runs of payloads."""
        return [
            self.hear(item) if isinstance(item, bytes) else item
            for item in in_runs(self._decoder.feed_sealed(data))
        ]

    def hear(self, payload: bytes) -> RigMessage | Malformed:
        """Return what a payload says."""
        item = decode(payload)
        if isinstance(item, HostMessage):
            return _out_of_role(item, payload)
        if isinstance(item, Identity):
            self.identity = item
        return item

    def ask(self, kind: Callable[[int], HostMessage]) -> bytes:
        """Return the bytes of any command.

        Args:
            kind: Makes it of a request id, as ``Identify`` does, or
                ``lambda number: Ping(number, now_us)``.
        """
        self.last_request = self.last_request % 255 + 1
        return encode_frame(encode(kind(self.last_request)))

    def _require_known_rig(self, verb: str) -> None:
        if self.identity is None:
            raise ProtocolMisuse(f"{verb}: identify first, and wait for the answer")
        if self.identity.protocol_major != PROTOCOL_MAJOR:
            raise ProtocolMisuse(
                f"{verb}: the rig speaks protocol {self.identity.protocol_major}, "
                f"we speak {PROTOCOL_MAJOR}"
            )


class RigEnd:
    """The rig's end: hears commands, says who it is and sends samples."""

    def __init__(self) -> None:
        self._decoder = FrameDecoder()

    def receive(self, data: bytes) -> list[HostMessage | FrameFault | Malformed]:
        """Return everything that *data* completes, oldest first."""
        received: list[HostMessage | FrameFault | Malformed] = []
        for frame in self._decoder.feed(data):
            if isinstance(frame, FrameFault):
                received.append(frame)
                continue
            item = decode(frame)
            if isinstance(item, RigMessage):
                item = _out_of_role(item, frame)
            received.append(item)
        return received

    def send(self, message: RigMessage) -> bytes:
        """Return the bytes that say a message.

        Raises:
            ProtocolMisuse: Only a host may say it, or it does not fit.
        """
        if not isinstance(message, RigMessage):
            raise ProtocolMisuse(f"a rig may not say {type(message).__name__}")
        return encode_frame(encode(message))


def _out_of_role(message: Message, payload: bytes) -> Malformed:
    return Malformed(f"{type(message).__name__} is for the other end to say", payload)
