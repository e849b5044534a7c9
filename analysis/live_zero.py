"""The zero of the cell, live: taken once when the start is quiet, later only when asked."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.settings import AnalysisSettings

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ZERO_SECONDS = 1.0
MAX_SHIFT_N = 1.0
"""A zero that moved by more since the last one is a hand on the cell, not drift: ours."""


class LiveZero:
    """Keeps the last second of the untouched-or-not wrench and takes zeros from it.

    Attributes:
        wrench: Shape (3,) or (6,), None before the first zero.
        noise_n: SD of one filtered force component while quiet.
    """

    def __init__(self, settings: AnalysisSettings, *, fs_hz: float) -> None:
        self.wrench: Floats | None = None
        self.noise_n = 0.0
        self._quiet_sd_n = settings.quiet_sd_n
        self._size = int(ZERO_SECONDS * fs_hz)
        self._last: Floats | None = None
        self._at_home = np.zeros(0, dtype=np.bool_)

    def feed(self, wrench: Floats, at_home: Flags) -> int | None:
        """Take a block (n, 3 or 6), shell out, zero still in; NaN where unknown.

        Returns:
            From which row of the block on there is a zero: 0 if there was one before, None if
            there is none yet.
        """
        before = 0 if self._last is None else len(self._last)
        joined = wrench if self._last is None else np.concatenate([self._last, wrench])
        homes = np.concatenate([self._at_home, at_home])
        first: int | None = 0
        if self.wrench is None:
            first = self._first(joined, homes, before)
        self._last, self._at_home = joined[-self._size :], homes[-self._size :]
        return first

    def take(self) -> str:
        """Take the zero from the last second; return why not, or an empty text when done."""
        if self._last is None or len(self._last) < self._size:
            return "wait a second: too little has been heard yet"
        if not self._at_home.all():
            return "let the arm hang at home, still"
        if not self._quiet(self._last):
            return "not still: take the hand away"
        mean = self._last.mean(axis=0)
        if self.wrench is not None:
            shift = float(np.linalg.norm(mean[:3] - self.wrench[:3]))
            if shift > MAX_SHIFT_N:
                return f"a hand rests on it: {shift:.1f} N away from the last zero"
        self._set(self._last)
        return ""

    def _first(self, joined: Floats, homes: Flags, before: int) -> int | None:
        """Try the first zero at every sample, so that the cutting of blocks changes nothing."""
        lasted = _running_count(homes & np.isfinite(joined).all(axis=1))
        for stop in np.flatnonzero(lasted >= self._size) + 1:
            window = joined[stop - self._size : stop]
            if stop > before and self._quiet(window):
                self._set(window)
                return int(stop - 1 - before)
        return None

    def _quiet(self, window: Floats) -> bool:
        return bool(np.std(window[:, :3], axis=0).max() < self._quiet_sd_n)  # NaN is not quiet

    def _set(self, window: Floats) -> None:
        self.wrench = window.mean(axis=0)
        self.noise_n = float(np.std(window[:, :3], axis=0).max())


def _running_count(flags: Flags) -> NDArray[np.int64]:
    """Return for each sample how many in a row have been true up to it."""
    index = np.arange(1, len(flags) + 1)
    last_false = np.maximum.accumulate(np.where(flags, 0, index))
    return np.asarray(index - last_false)
