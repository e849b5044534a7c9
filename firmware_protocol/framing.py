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
from operator import itemgetter
from typing import cast

from cobs import cobs

from firmware_protocol.errors import ProtocolMisuse

MAX_PAYLOAD_BYTES = 1024
"""Largest payload. A microcontroller needs two such buffers, one each way."""
CHECKSUM = struct.Struct("<I")
MAX_FRAME_BYTES = MAX_PAYLOAD_BYTES + CHECKSUM.size + 1 + (MAX_PAYLOAD_BYTES + CHECKSUM.size) // 254
"""Largest frame without its delimiter (Cheshire & Baker 1999: one byte more in each 254)."""
MIN_FRAME_BYTES = 1 + CHECKSUM.size + 1
DELIMITER = b"\0"
RESIDUE = 0x2144DF1C
"""CRC-32 of anything with its own CRC-32 behind it; the catalogue's DEBB20E3 before inversion."""


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


def open_sealed(raws: list[bytes]) -> list[bytes | FrameFault]:
    """Return what `open_frame` says of each, payloads still sealed; empty ones mean nothing.

    Sealed is a payload with its checksum behind it. As long as all are whole this is C code
    alone, several times as fast.

    Args:
        raws: The stuffed bytes between delimiters.
    """
    try:
        sealed: list[bytes] = list(map(cobs.decode, raws))
    except cobs.DecodeError:
        sealed = []
    sizes = set(map(len, raws))
    if (
        set(map(zlib.crc32, sealed)) == {RESIDUE}
        and min(sizes) >= MIN_FRAME_BYTES
        and max(sizes) <= MAX_FRAME_BYTES
    ):
        return cast("list[bytes | FrameFault]", sealed)
    return [_open_sealed(raw) for raw in raws if raw]


def _open_sealed(raw: bytes) -> bytes | FrameFault:
    item = open_frame(raw)
    return item if isinstance(item, FrameFault) else item + CHECKSUM.pack(zlib.crc32(item))


unsealed = itemgetter(slice(-CHECKSUM.size))
"""Returns the payload of a sealed one."""


class FrameDecoder:
    """Turns arbitrary slices of the byte stream into payloads and faults.

    It holds at most `MAX_FRAME_BYTES` between calls. How the stream is sliced changes nothing.
    """

    def __init__(self) -> None:
        self._tail = b""
        self._skipping = False

    def feed(self, data: bytes) -> list[bytes | FrameFault]:
        """Return every payload or fault completed by *data*, oldest first."""
        return [
            item if isinstance(item, FrameFault) else unsealed(item)
            for item in self.feed_sealed(data)
        ]

    def feed_sealed(self, data: bytes) -> list[bytes | FrameFault]:
        """Return what `feed` does, payloads still sealed: for who takes many of them at once."""
        if self._skipping:
            _, delimiter, data = data.partition(DELIMITER)
            self._skipping = not delimiter
        closed = data.split(DELIMITER)
        closed[0] = self._tail + closed[0]
        self._tail = closed.pop()
        found = open_sealed(closed)
        if len(self._tail) > MAX_FRAME_BYTES:
            # Told once, at once: what is left of it is skipped up to the next delimiter.
            found.append(FrameFault(FrameFaultKind.OVERLONG, self._tail[:MAX_FRAME_BYTES]))
            self._tail = b""
            self._skipping = True
        return found
