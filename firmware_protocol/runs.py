"""Runs: sample blocks that came one behind another, kept as payloads.

A block made into a message costs more than all that C code does for its frame. Who takes many
blocks at once can read their heads and data out of the payloads in one go. So that the status,
which comes every second, does not cut a long read into pieces, runs hold statuses too.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import compress
from operator import itemgetter
from typing import Any, cast

from firmware_protocol.codec import BLOCK_TYPE, STATUS_TYPE
from firmware_protocol.framing import FrameFault, unsealed

_RUN = re.compile(b"[%c%c]+|." % (BLOCK_TYPE, STATUS_TYPE), re.DOTALL)
_first: Callable[[Any], int] = itemgetter(0)
_ONLY_BLOCKS, _ONLY_STATUS = (
    bytes(byte == kind for byte in range(256)) for kind in (BLOCK_TYPE, STATUS_TYPE)
)
"""For `bytes.translate`: 1 in the places of a kind, 0 elsewhere."""


@dataclass(frozen=True, slots=True)
class BlockRun:
    """Payloads that begin as those of sample blocks or statuses do, nothing else between them.

    Whether each is a message that makes sense is not known yet.

    Attributes:
        sealed: As they came, at least one, each with its checksum behind it.
        kinds: The first byte of each.
    """

    sealed: list[bytes]
    kinds: bytes

    def payloads(self) -> Iterator[bytes]:
        """Yield them as a `FrameDecoder` gives them."""
        return map(unsealed, self.sealed)

    def statuses(self) -> list[bytes]:
        """Return the payloads of the statuses."""
        if STATUS_TYPE not in self.kinds:
            return []
        return list(map(unsealed, compress(self.sealed, self.kinds.translate(_ONLY_STATUS))))

    def blocks(self) -> dict[int, list[bytes]]:
        """Return the sealed payloads of the sample blocks by the number of their stream."""
        blocks: Iterable[bytes] = self.sealed
        if STATUS_TYPE in self.kinds:
            blocks = compress(self.sealed, self.kinds.translate(_ONLY_BLOCKS))
        streams: dict[int, list[bytes]] = defaultdict(list)
        for block in blocks:
            streams[block[1]].append(block)
        return streams


def in_runs(frames: list[bytes | FrameFault]) -> Iterator[BlockRun | bytes | FrameFault]:
    """Yield frames in order, sample blocks and statuses in runs as long as can be.

    Args:
        frames: Sealed payloads and faults, as `FrameDecoder.feed_sealed` gives them.
    """
    kinds = _kinds(frames)
    for match in _RUN.finditer(kinds):
        begin, end = match.span()
        first = frames[begin]
        if kinds[begin] in (BLOCK_TYPE, STATUS_TYPE):
            yield BlockRun(cast("list[bytes]", frames[begin:end]), match.group())
        else:
            yield first if isinstance(first, FrameFault) else unsealed(first)


def _kinds(frames: list[bytes | FrameFault]) -> bytes:
    """Return the first byte of each payload, 0 for a fault."""
    try:
        return bytes(map(_first, frames))
    except TypeError:  # a fault has none
        return bytes(0 if isinstance(frame, FrameFault) else frame[0] for frame in frames)
