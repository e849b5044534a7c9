"""Runs: sample blocks that came one behind another, kept as payloads.

A block made into a message costs more than all that C code does for its frame. Who takes many
blocks at once can read their heads and data out of the payloads in one go.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import cast

from firmware_protocol.codec import BLOCK_TYPE
from firmware_protocol.framing import FrameFault


class BlockRun(tuple[bytes, ...]):
    """Payloads that begin as those of sample blocks do, with nothing else between them.

    Whether each is a block that makes sense is not known yet.
    """

    __slots__ = ()

    def by_stream(self) -> dict[int, list[bytes]]:
        """Return the payloads by the number of their stream."""
        streams: dict[int, list[bytes]] = defaultdict(list)
        for payload in self:
            streams[payload[1]].append(payload)
        return streams


def in_runs(frames: Sequence[bytes | FrameFault]) -> Iterator[BlockRun | bytes | FrameFault]:
    """Yield frames in order, sample blocks in runs as long as can be.

    Args:
        frames: Payloads and faults, as a `FrameDecoder` gives them.
    """
    others = [
        at
        for at, frame in enumerate(frames)
        if isinstance(frame, FrameFault) or frame[0] != BLOCK_TYPE or len(frame) == 1
    ]
    begun = 0
    for at in [*others, len(frames)]:
        if begun < at:
            yield BlockRun(cast("Sequence[bytes]", frames[begun:at]))
        yield from frames[at : at + 1]
        begun = at + 1
