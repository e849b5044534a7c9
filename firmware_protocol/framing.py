"""Frames: payloads kept apart and kept whole on a line that loses and changes bytes.

A frame is COBS(payload, CRC-32 of payload) and a zero byte. The zero occurs nowhere else, so
whatever happened before it, the next frame starts behind it: one damaged byte spoils at most
the two frames it touches. Damage is a value (`FrameFault`), memory is bounded, and nothing
that arrives can raise.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from enum import Enum

from cobs import cobs

from firmware_protocol.errors import ProtocolMisuse

MAX_PAYLOAD_BYTES = 1024
"""Largest payload. A microcontroller needs two such buffers, one each way."""
CHECKSUM = struct.Struct("<I")
MAX_FRAME_BYTES = MAX_PAYLOAD_BYTES + CHECKSUM.size + 1 + (MAX_PAYLOAD_BYTES + CHECKSUM.size) // 254
"""Largest frame without its delimiter (Cheshire & Baker 1999: one byte more in each 254)."""
DELIMITER = b"\0"


class FrameFaultKind(Enum):
    """What was wrong with a frame."""

    STUFFING = "stuffing"
    CHECKSUM = "checksum"
    SHORT = "short"
    OVERLONG = "overlong"


@dataclass(frozen=True, slots=True)
class FrameFault:
    """A frame that did not survive the line.

    Attributes:
        kind: What was wrong.
        raw: The stuffed bytes without delimiter, at most `MAX_FRAME_BYTES` of them.
    """

    kind: FrameFaultKind
    raw: bytes


def encode_frame(payload: bytes) -> bytes:
    """Return the frame of a payload, its delimiter included.

    Raises:
        ProtocolMisuse: The payload is empty or longer than `MAX_PAYLOAD_BYTES`.
    """
    if not 0 < len(payload) <= MAX_PAYLOAD_BYTES:
        raise ProtocolMisuse(
            f"a payload has 1 to {MAX_PAYLOAD_BYTES} bytes, not {len(payload)}: send less at once"
        )
    stuffed: bytes = cobs.encode(payload + CHECKSUM.pack(zlib.crc32(payload)))
    return stuffed + DELIMITER


def open_frame(raw: bytes) -> bytes | FrameFault:
    """Return the payload of one frame, or what is wrong with it.

    Args:
        raw: The stuffed bytes between two delimiters.
    """
    if len(raw) > MAX_FRAME_BYTES:
        return FrameFault(FrameFaultKind.OVERLONG, raw[:MAX_FRAME_BYTES])
    try:
        plain: bytes = cobs.decode(raw)
    except cobs.DecodeError:
        return FrameFault(FrameFaultKind.STUFFING, raw)
    if len(plain) <= CHECKSUM.size:
        return FrameFault(FrameFaultKind.SHORT, raw)
    payload, checksum = plain[: -CHECKSUM.size], plain[-CHECKSUM.size :]
    if CHECKSUM.pack(zlib.crc32(payload)) != checksum:
        return FrameFault(FrameFaultKind.CHECKSUM, raw)
    return payload


class FrameDecoder:
    """Turns arbitrary slices of the byte stream into payloads and faults.

    It holds at most `MAX_FRAME_BYTES` between calls. How the stream is sliced changes nothing.
    """

    def __init__(self) -> None:
        self._tail = b""
        self._skipping = False

    def feed(self, data: bytes) -> list[bytes | FrameFault]:
        """Return every payload or fault completed by *data*, oldest first."""
        *closed, rest = data.split(DELIMITER)
        found: list[bytes | FrameFault] = []
        for piece in closed:
            if self._skipping:
                self._skipping = False
            elif raw := self._tail + piece:
                found.append(open_frame(raw))
            self._tail = b""
        self._keep(rest, found)
        return found

    def _keep(self, rest: bytes, found: list[bytes | FrameFault]) -> None:
        if self._skipping:
            return
        self._tail += rest
        if len(self._tail) > MAX_FRAME_BYTES:
            # Told once, at once: what is left of it is skipped up to the next delimiter.
            found.append(FrameFault(FrameFaultKind.OVERLONG, self._tail[:MAX_FRAME_BYTES]))
            self._tail = b""
            self._skipping = True
