"""What a screen or a status line needs to know about the link, in one frozen value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from acquisition.recording.model import LinkCounts


class LinkState(Enum):
    """Where a session stands."""

    CONNECTING = "connecting"
    IDENTIFYING = "identifying"
    READY = "ready"
    """The rig is known and was asked to start."""
    STREAMING = "streaming"
    LOST = "lost"
    """The line is gone; it is tried again and again."""
    FINISHED = "finished"
    """The source has given everything, or enough was had."""
    CLOSED = "closed"

    @property
    def ended(self) -> bool:
        """Whether nothing will come any more."""
        return self in (LinkState.FINISHED, LinkState.CLOSED)


@dataclass(frozen=True, slots=True)
class Health:
    """How the link is.

    Attributes:
        state: Where the session stands.
        port_name: Of the transport.
        last_block_age_s: Since the last sample block came, None before the first.
        counts: The accounts so far.
        rates_hz: By stream, the rig's sampling rate by its own clock, over about a second.
        segment: Which stretch this is, −1 before the first.
        message: What is going on, one line for people; empty when all is well.
    """

    state: LinkState
    port_name: str
    last_block_age_s: float | None
    counts: LinkCounts
    rates_hz: Mapping[str, float]
    segment: int
    message: str
