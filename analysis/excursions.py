"""Excursions of the arm: away from home past the minimum amplitude, and back.

A state machine that takes elevation in blocks; cutting it into blocks anywhere changes nothing,
so that live and offline cutting are the same code. Two levels make a tremble at either of them,
a pause on the way or a second attempt half-way part of one excursion.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.repetition_settings import RepetitionSettings
from analysis.runs import latched, run_lengths

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Excursion:
    """One excursion past the minimum amplitude, in samples from the first one fed.

    Attributes:
        known_from: Elevation is known from here on, short gaps apart.
        leave: First sample at or above the home level.
        arrive: First sample at home again, bounces at the stop included; if it is unfinished,
            the first behind the last known.
        finished: The arm came home.
        settled: The sample that decided it: nothing behind it was looked at.
    """

    known_from: int
    leave: int
    arrive: int
    finished: bool
    settled: int


@dataclass(slots=True)
class _Away:
    """The arm is, or was, away from home."""

    known_from: int
    leave: int
    passed: bool = False
    arrive: int = 0


class ExcursionFinder:
    """Finds excursions in elevation that comes in blocks.

    Args:
        settings: The thresholds.
        fs_hz: Rate of the elevation.

    Attributes:
        count: Samples fed so far.
        last_arrive: When the arm last came home from past the minimum amplitude, −1 if never.
    """

    def __init__(self, settings: RepetitionSettings, *, fs_hz: float) -> None:
        self._settings = settings
        self._refractory = max(1, round(settings.refractory_s * fs_hz))
        self._lost_after = round(settings.unknown_s * fs_hz)
        self.count = 0
        self.last_arrive = -1
        self._unknown = 0
        self._forget()

    @property
    def leave(self) -> int | None:
        """When the arm left home, if it is away now."""
        return self._now.leave if self._now else None

    @property
    def undecided_from(self) -> int:
        """From here on samples still matter: what is before has been decided."""
        first = self._home_again or self._now
        return first.leave if first else self.count

    def feed(self, elevation_deg: Floats) -> list[Excursion]:
        """Take a block (n,), NaN where not known; return the excursions that it decided."""
        unknown = run_lengths(np.isnan(elevation_deg), self._unknown)
        losses = (np.flatnonzero(unknown == self._lost_after + 1) + 1).tolist()
        found: list[Excursion] = []
        for begin, end in pairwise([0, *losses, len(elevation_deg)]):
            found += self._follow(elevation_deg[begin:end])
            if end in losses:
                found += self.give_up()
        if len(unknown):
            self._unknown = int(unknown[-1])
        return found

    def give_up(self) -> list[Excursion]:
        """End what is open, as at the end of the samples or where they are lost for long."""
        found = []
        if self._home_again:
            found.append(self._decided(self._home_again, self.count - 1))
        elif self._now and self._now.passed:
            self._now.arrive = self._last_known + 1
            found.append(self._decided(self._now, self.count - 1, finished=False))
        self._forget()
        return found

    def _forget(self) -> None:
        self._past = np.full(self._refractory, np.nan)
        self._resting = 0
        self._known_from = -1
        self._last_known = -1
        self._now: _Away | None = None
        self._home_again: _Away | None = None

    def _follow(self, elevation_deg: Floats) -> list[Excursion]:
        if not len(elevation_deg):
            return []
        begin = self.count
        self.count += len(elevation_deg)
        known = begin + np.flatnonzero(~np.isnan(elevation_deg))
        if len(known):
            self._last_known = int(known[-1])
            self._known_from = int(known[0]) if self._known_from < 0 else self._known_from
        away = self._away(elevation_deg)
        switches = (np.flatnonzero(np.diff(away)) + 1).tolist()
        found: list[Excursion] = []
        for start, stop in pairwise([0, *switches, len(away)]):
            if away[start]:
                self._now = self._now or _Away(self._known_from, begin + start)
                found += self._rise(self._now, elevation_deg[start:stop], begin + start)
            else:
                self._come_home(begin + start)
                found += self._settle(begin + stop)
        return found

    def _away(self, elevation_deg: Floats) -> Flags:
        """Tell in which samples (n,) the arm is away from home."""
        settings = self._settings
        joined = np.concatenate([self._past, elevation_deg])
        with np.errstate(invalid="ignore"):
            moved = np.abs(elevation_deg - joined[: len(elevation_deg)])
            resting = (elevation_deg < settings.home_deg) & (moved < settings.rest_deg)
            low = elevation_deg < settings.boundary_deg
            high = elevation_deg >= settings.home_deg
        rested = run_lengths(resting, self._resting)
        self._resting = int(rested[-1])
        self._past = joined[-self._refractory :]
        return latched(high, low | (rested >= self._refractory), before=self._now is not None)

    def _rise(self, now: _Away, elevation_deg: Floats, begin: int) -> list[Excursion]:
        """Go on away from home; what was before is over once this one counts."""
        with np.errstate(invalid="ignore"):
            past = np.flatnonzero(elevation_deg >= self._settings.minimum_amplitude_deg)
        if now.passed or not len(past):
            return []
        now.passed = True
        before, self._home_again = self._home_again, None
        return [self._decided(before, begin + int(past[0]))] if before else []

    def _come_home(self, at: int) -> None:
        was, self._now = self._now, None
        if was is None:
            return
        if was.passed:
            self._home_again = was
            self.last_arrive = at
        if self._home_again:  # else it was too small, and no bounce either
            self._home_again.arrive = at

    def _settle(self, seen_until: int) -> list[Excursion]:
        """Decide what has been home for long enough, at home up to *seen_until*."""
        was = self._home_again
        if was is None or seen_until - was.arrive <= self._refractory:
            return []
        self._home_again = None
        return [self._decided(was, was.arrive + self._refractory)]

    def _decided(self, way: _Away, settled: int, *, finished: bool = True) -> Excursion:
        return Excursion(way.known_from, way.leave, way.arrive, finished, settled)
