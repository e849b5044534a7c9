"""The zero of the cell, live: taken once when the start is quiet, later only when asked."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.runs import run_lengths
from analysis.settings import AnalysisSettings

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ZERO_SECONDS = 1.0
MAX_SHIFT_N = 1.0
"""A zero that moved by more since the last one is a hand on the cell, not drift. Ours."""


class LiveZero:
    """Keeps the last second of the wrench and takes zeros from it.

    Attributes:
        wrench: Shape (3,) or (6,), None before the first zero.
        noise_n: SD of one filtered force component while quiet.
        moved_n: Largest force that the one zero has shown against the one before.
    """

    def __init__(self, settings: AnalysisSettings, *, fs_hz: float) -> None:
        self.wrench: Floats | None = None
        self.noise_n = 0.0
        self.moved_n = 0.0
        self._quiet_sd_n = settings.quiet_sd_n
        self._size = max(2, int(ZERO_SECONDS * fs_hz))
        self._last: Floats | None = None
        self._at_home = np.zeros(0, dtype=np.bool_)

    def feed(self, wrench: Floats, at_home: Flags) -> int:
        """Take a block (n, 3 or 6), shell out, zero still in; NaN where unknown.

        Returns:
            From which row of the block on there is a zero: 0 if there was one before, n if there
            is none yet.
        """
        before = 0 if self._last is None else len(self._last)
        joined = wrench if self._last is None else np.concatenate([self._last, wrench])
        homes = np.concatenate([self._at_home, at_home])
        first = 0 if self.wrench is not None else self._first(joined, homes, before)
        self._last, self._at_home = joined[-self._size :], homes[-self._size :]
        return first

    def take(self) -> str:
        """Take the zero from the last second; return why not, or an empty text when done."""
        reason = self._against()
        if not reason and self._last is not None:
            self._set(self._last)
        return reason

    def _against(self) -> str:
        """Return why there can be no zero now, empty if there can."""
        last = self._last
        if last is None or len(last) < self._size or not np.isfinite(last).all():
            return "too little has been heard yet: wait a second"
        if not self._quiet(last):
            return "the force is not still: take the hand away"
        if self.wrench is not None:
            shift = float(np.linalg.norm(last.mean(axis=0)[:3] - self.wrench[:3]))
            if shift > MAX_SHIFT_N:
                return (
                    f"{shift:.1f} N away from the last zero, as if a hand rested on it: "
                    "take it away, or begin anew"
                )
        if not self._at_home.all():
            return "the arm does not rest at home: let it hang, still"
        return ""

    def _first(self, joined: Floats, homes: Flags, before: int) -> int:
        """Try the first zero at every sample, so that the cutting of blocks changes nothing."""
        lasted = run_lengths(homes & np.isfinite(joined).all(axis=1))
        for stop in np.flatnonzero(lasted >= self._size) + 1:
            window = joined[stop - self._size : stop]
            if stop > before and self._quiet(window):
                self._set(window)
                return int(stop - 1 - before)
        return len(joined) - before

    def _quiet(self, window: Floats) -> bool:
        return bool(np.std(window[:, :3], axis=0).max() < self._quiet_sd_n)

    def _set(self, window: Floats) -> None:
        before, self.wrench = self.wrench, window.mean(axis=0)
        if before is not None:
            shift = float(np.linalg.norm(self.wrench[:3] - before[:3]))
            self.moved_n = max(self.moved_n, shift)
        self.noise_n = float(np.std(window[:, :3], axis=0).max())
