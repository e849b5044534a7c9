"""Cutting a trial into repetitions and phases.

`ExcursionFinder` says how often the arm left home and came back; here the precise boundaries
are found. A movement begins and ends where its speed has fallen to a small share of its peak,
and the top is what lies near the highest elevation. Ranges are half-open in samples.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.excursions import Excursion, ExcursionFinder
from analysis.repetition_settings import RepetitionSettings
from analysis.runs import parts_of, runs_of, without_short_gaps
from analysis.series import ResolvedSeries
from analysis.trial import RepetitionSpans, Span

__all__ = ["Movement", "RepetitionSettings", "find_repetitions"]

Floats = NDArray[np.float64]

_AT_A_TIME = 4096
"""Samples in which the end of a movement is looked for before more are looked at."""


def find_repetitions(
    series: ResolvedSeries, settings: RepetitionSettings | None = None
) -> tuple[RepetitionSpans, ...]:
    """Return the repetitions of a series, unfinished ones included.

    Args:
        series: The resolved push.
        settings: Thresholds; None takes the defaults.
    """
    settings = settings or RepetitionSettings()
    movement = Movement.of(series, settings)
    finder = ExcursionFinder(settings, fs_hz=series.fs_hz)
    excursions: list[Excursion] = []
    for part in parts_of(len(series)):
        excursions += finder.feed(movement.elevation_deg[part])
    excursions += finder.give_up()
    found: list[RepetitionSpans] = []
    for excursion in excursions:
        earliest = found[-1].lowering.stop if found else 0
        found.append(movement.cut(excursion, earliest))
    return tuple(_without_overlap(found))


@dataclass(frozen=True, slots=True)
class Movement:
    """What the cutting looks at.

    Attributes:
        elevation_deg: Shape (n,), NaN where not known.
        holds: Where the hand is on.
        fs_hz: Rate of the elevation.
        settings: The thresholds.
    """

    elevation_deg: Floats
    holds: tuple[tuple[int, int], ...]
    fs_hz: float
    settings: RepetitionSettings

    @classmethod
    def of(cls, series: ResolvedSeries, settings: RepetitionSettings) -> Movement:
        """Return what the cutting looks at in a series."""
        elevation_deg = np.rad2deg(series.elevation_rad)
        return cls(elevation_deg, tuple(runs_of(series.contact)), series.fs_hz, settings)

    def cut(self, excursion: Excursion, earliest: int) -> RepetitionSpans:
        """Return the boundaries of an excursion.

        Args:
            excursion: Counted in samples of this movement.
            earliest: Where the repetition before ended, 0 for the first.
        """
        highest = self._highest(excursion)
        start, begun = self._start(excursion, highest, earliest)
        stop = excursion.arrive
        if excursion.finished:
            stop = self.stop(excursion) or len(self.elevation_deg)
        top = self._top(start, stop, highest)
        setup_start, release_stop = start, stop
        for on, off in self.holds:
            if on < start < off:
                setup_start = max(on, earliest)
            if on < stop < off:
                release_stop = off
        return RepetitionSpans(
            setup=Span(setup_start, start),
            raising=Span(start, top.start),
            top=top,
            lowering=Span(top.stop, stop),
            release=Span(stop, release_stop),
            complete=begun and excursion.finished,
        )

    def stop(self, excursion: Excursion) -> int | None:
        """Return where the way home ended: the arm is still, or about to leave again.

        None if neither has happened yet.
        """
        limit = self._slow_deg_s(self._highest(excursion), excursion.arrive)
        for begin in range(excursion.arrive, len(self.elevation_deg), _AT_A_TIME):
            end = min(begin + _AT_A_TIME, len(self.elevation_deg))
            with np.errstate(invalid="ignore"):
                leaves = self.elevation_deg[begin:end] >= self.settings.home_deg
                ends = np.flatnonzero(leaves | ~(self._speed_deg_s(begin, end) > limit))
            if len(ends):
                return begin + int(ends[0])
        return None

    def _start(self, excursion: Excursion, highest: int, earliest: int) -> tuple[int, bool]:
        """Return where the way up began, and whether that is known to be at home."""
        limit = self._slow_deg_s(excursion.leave, highest)
        low = max(excursion.known_from, earliest)
        for end in range(excursion.leave, low, -_AT_A_TIME):
            begin = max(low, end - _AT_A_TIME)
            with np.errstate(invalid="ignore"):
                still = np.flatnonzero(~(self._speed_deg_s(begin, end) > limit))
            if len(still):
                return begin + int(still[-1]) + 1, True
        return low, earliest > excursion.known_from

    def _highest(self, excursion: Excursion) -> int:
        way = self.elevation_deg[excursion.leave : excursion.arrive]
        return excursion.leave + int(np.nanargmax(way))

    def _slow_deg_s(self, start: int, stop: int) -> float:
        """Return below which speed the arm is still, by the fastest on the way."""
        speed = self._speed_deg_s(start, stop)
        peak = float(np.nanmax(speed)) if np.isfinite(speed).any() else 0.0
        return max(self.settings.onset_speed_deg_s, self.settings.onset_share * peak)

    def _speed_deg_s(self, start: int, stop: int) -> Floats:
        """Return how fast the elevation changes, ≥ 0, over the window of the settings."""
        half, last = half_window(self.settings, self.fs_hz), len(self.elevation_deg) - 1
        index = np.arange(start, stop)
        before, behind = np.maximum(index - half, 0), np.minimum(index + half, last)
        change = np.abs(self.elevation_deg[behind] - self.elevation_deg[before])
        return np.asarray(change / np.maximum(behind - before, 1) * self.fs_hz)

    def _top(self, start: int, stop: int, highest: int) -> Span:
        """Return the stretch round the highest sample that stays near it, short dips apart."""
        with np.errstate(invalid="ignore"):
            near = self.elevation_deg[start:stop] >= (
                self.elevation_deg[highest] - self.settings.top_deg
            )
        near = without_short_gaps(near, int(self.settings.refractory_s * self.fs_hz))
        return next(
            Span(start + a, start + b) for a, b in runs_of(near) if a <= highest - start < b
        )


def half_window(settings: RepetitionSettings, fs_hz: float) -> int:
    """Return over how many samples before and behind a sample its speed is taken."""
    return max(1, round(settings.onset_window_s * fs_hz / 2))


def _without_overlap(found: list[RepetitionSpans]) -> Iterator[RepetitionSpans]:
    """End a release where the next set-up begins: a hand left on serves both."""
    for spans, following in zip(found, [*found[1:], None], strict=False):
        stop = spans.release.stop
        if following is not None:
            stop = max(spans.release.start, min(stop, following.setup.start))
        yield replace(spans, release=Span(spans.release.start, stop))
