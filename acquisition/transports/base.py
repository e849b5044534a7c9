"""What a byte pipe must be able to do, and nothing else."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

READ_WAIT_S = 0.02
"""How long `Transport.read` waits at most: short enough for a live picture."""


class Transport(Protocol):
    """A byte pipe to a rig, used by one thread.

    Attributes:
        name: What to call it in messages, the URL as a rule.
        finished: A source with an end (a played-back recording, a rig in software after its
            last repetition) has given everything. Always False for a real line.
    """

    @property
    def name(self) -> str:
        """What to call it in messages."""
        ...

    @property
    def finished(self) -> bool:
        """Whether everything has been given."""
        ...

    def open(self) -> None:
        """Open it, again after a loss as well.

        Raises:
            PortError: It cannot be opened; says why and what to do.
        """
        ...

    def read(self) -> bytes:
        """Return what has come, or ``b""`` if nothing came within about `READ_WAIT_S`.

        Raises:
            TransportLost: The far end is gone.
        """
        ...

    def write(self, data: bytes) -> None:
        """Send *data*.

        Raises:
            TransportLost: The far end is gone.
        """
        ...

    def close(self) -> None:
        """Let go of it; never raises, and twice is fine."""
        ...


@runtime_checkable
class HearsCalls(Protocol):
    """A pipe with a person in software at its far end, who hears what is called out here."""

    def hear_stop(self) -> None:
        """Let the person hear a call to stop; from any thread."""
        ...
