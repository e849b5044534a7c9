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
        repetitions: Excursions past the minimum amplitude and back.
    """

    def __init__(self, settings: RepetitionSettings | None = None) -> None:
        self._settings = settings or RepetitionSettings()
        self.phase = MovementPhase.HOME
        self.repetitions = 0
        self._highest = 0.0
        self._lowest = 0.0

    def feed(self, series: ResolvedSeries) -> None:
        """Take new samples; unknown elevation changes nothing."""
        elevation_deg = np.rad2deg(series.elevation_rad)
        step = max(1, int(series.fs_hz / 100))  # a hundred looks a second are enough
        for value in elevation_deg[::step]:
            if np.isfinite(value):
                self._follow(float(value))

    def _follow(self, elevation_deg: float) -> None:
        wide = self._settings
        if self.phase is MovementPhase.HOME:
            if elevation_deg > wide.home_deg:
                self.phase, self._highest = MovementPhase.RAISE, elevation_deg
            return
        self._highest = max(self._highest, elevation_deg)
        if elevation_deg < wide.boundary_deg:
            self.repetitions += self._highest >= wide.minimum_amplitude_deg
            self.phase = MovementPhase.HOME
        elif self.phase is MovementPhase.RAISE:
            if elevation_deg < self._highest - wide.top_deg:
                self.phase, self._lowest = MovementPhase.LOWER, elevation_deg
        else:
            self._lowest = min(self._lowest, elevation_deg)
            if elevation_deg > self._lowest + wide.minimum_amplitude_deg:
                self.phase, self._highest = MovementPhase.RAISE, elevation_deg
