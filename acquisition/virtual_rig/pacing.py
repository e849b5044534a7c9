"""How fast a virtual rig's time goes, measured by an injected clock."""

from __future__ import annotations

import math

from acquisition.clock import NS_PER_S, Clock

STEP_US = 20_000
"""As fast as can be, time goes in steps of this size."""


class Pacer:
    """Gives a rig in software its elapsed time.

    It stands still until `resume` and after `pause`, as nobody looks then.

    Args:
        clock: What time it is.
        speed: 1 is real time, infinity goes on by `STEP_US` whenever asked.
    """

    def __init__(self, clock: Clock, speed: float) -> None:
        self._clock = clock
        self._speed = speed
        self._elapsed_us = 0.0
        self._since_ns: int | None = None

    @property
    def unpaced(self) -> bool:
        """Whether time goes by being asked for, not by the clock."""
        return math.isinf(self._speed)

    def resume(self) -> None:
        """Let time go on."""
        self._since_ns = self._clock.now_ns()

    def pause(self) -> None:
        """Let time stand still."""
        self._gather()
        self._since_ns = None

    def elapsed_us(self) -> int:
        """Return the rig's time now; if unpaced, one step later than the time before."""
        if self.unpaced:
            self._elapsed_us += STEP_US
        else:
            self._gather()
        return int(self._elapsed_us)

    def real_s(self, rig_s: float) -> float:
        """Return how long *rig_s* of the rig's time take by the clock."""
        return rig_s / self._speed

    def rig_s(self, real_s: float) -> float:
        """Return how much of the rig's time *real_s* by the clock are."""
        return real_s * self._speed

    def _gather(self) -> None:
        if self._since_ns is None or self.unpaced:
            return
        now_ns = self._clock.now_ns()
        self._elapsed_us += (now_ns - self._since_ns) * self._speed * 1e6 / NS_PER_S
        self._since_ns = now_ns
