"""Which phase of the movement it is right now, and how many repetitions are done."""

from __future__ import annotations

from enum import Enum

import numpy as np

from analysis.repetitions import RepetitionSettings
from analysis.series import ResolvedSeries


class MovementPhase(Enum):
    """The phase; the text is for the screen."""

    HOME = "arm at home"
    RAISE = "raising"
    LOWER = "lowering"


class PhaseFollower:
    """Follows elevation with the thresholds of the offline cutting, causally.

    A raise becomes a lower when the arm has come down from its highest by more than the top's
    width, and a raise again when it has gone up from its lowest by the minimum amplitude.

    Attributes:
        phase: Now.
        repetitions: Excursions from home past the minimum amplitude and back.
    """

    def __init__(self, settings: RepetitionSettings | None = None) -> None:
        self._settings = settings or RepetitionSettings()
        self.phase = MovementPhase.HOME
        self.repetitions = 0
        self._highest = 0.0
        self._lowest = 0.0
        self._from_home = False
        self._known_s = np.inf

    def feed(self, series: ResolvedSeries) -> None:
        """Take new samples; an arm unknown for too long makes no repetition."""
        elevation_deg = np.rad2deg(series.elevation_rad)
        known = np.isfinite(elevation_deg)
        step = max(1, int(series.fs_hz / 100))  # a hundred looks a second are enough
        for time_s, value in zip(
            series.time_s[known][::step].tolist(),
            elevation_deg[known][::step].tolist(),
            strict=True,
        ):
            if not 0.0 <= time_s - self._known_s <= self._settings.unknown_s:
                self.phase, self._from_home = MovementPhase.HOME, False
            self._known_s = time_s
            self._follow(value)

    def _follow(self, elevation_deg: float) -> None:
        wide = self._settings
        if self.phase is MovementPhase.HOME:
            self._from_home |= elevation_deg < wide.boundary_deg
            if elevation_deg > wide.home_deg:
                self.phase, self._highest = MovementPhase.RAISE, elevation_deg
            return
        self._highest = max(self._highest, elevation_deg)
        if elevation_deg < wide.boundary_deg:
            far = self._highest >= wide.minimum_amplitude_deg
            self.repetitions += far and self._from_home
            self.phase = MovementPhase.HOME
        elif self.phase is MovementPhase.RAISE:
            if elevation_deg < self._highest - wide.top_deg:
                self.phase, self._lowest = MovementPhase.LOWER, elevation_deg
        else:
            self._lowest = min(self._lowest, elevation_deg)
            if elevation_deg > self._lowest + wide.minimum_amplitude_deg:
                self.phase, self._highest = MovementPhase.RAISE, elevation_deg
