"""Time as an argument, so that nothing in a test has to wait for it."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol

NS_PER_S = 1_000_000_000


class Clock(Protocol):
    """What the rest of the program knows of time."""

    def now_ns(self) -> int:
        """Return monotonic nanoseconds; only differences mean anything."""
        ...

    def sleep(self, seconds: float) -> None:
        """Let *seconds* go by."""
        ...

    def utc_now(self) -> datetime:
        """Return the wall clock, for people; never used for differences."""
        ...


class SystemClock:
    """The machine's own clocks."""

    def now_ns(self) -> int:
        """Return the machine's monotonic clock."""
        return time.monotonic_ns()

    def sleep(self, seconds: float) -> None:
        """Block the calling thread."""
        time.sleep(seconds)

    def utc_now(self) -> datetime:
        """Return the machine's wall clock."""
        return datetime.now(UTC)


class ManualClock:
    """A clock that goes only when told to: `sleep` returns at once and moves it on."""

    def __init__(self, start: datetime = datetime(2026, 1, 1, tzinfo=UTC)) -> None:
        self._start = start
        self._elapsed_ns = 0

    def now_ns(self) -> int:
        """Return how far the clock was moved."""
        return self._elapsed_ns

    def sleep(self, seconds: float) -> None:
        """Move the clock on."""
        self.advance(seconds)

    def utc_now(self) -> datetime:
        """Return the start date plus how far the clock was moved."""
        return self._start + timedelta(microseconds=self._elapsed_ns // 1000)

    def advance(self, seconds: float) -> None:
        """Move the clock on by *seconds*.

        Raises:
            ValueError: Back in time.
        """
        if seconds < 0:
            raise ValueError(f"a clock does not go back ({seconds} s)")
        self._elapsed_ns += round(seconds * NS_PER_S)
