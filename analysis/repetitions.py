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
from analysis.runs import parts_of, run_lengths, runs_of, without_short_gaps
from analysis.series import ResolvedSeries
from analysis.trial import RepetitionSpans, Span

__all__ = ["Movement", "RepetitionSettings", "find_repetitions"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

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
class Stop:
    """Where a movement ended.

    Attributes:
        at: The sample.
        seen: The last one that was looked at to tell.
    """

    at: int
    seen: int


@dataclass(frozen=True, slots=True)
class Stillness:
    """Tells where an elevation is still.

    Attributes:
        elevation_deg: Shape (n,), NaN where not known.
        half: Samples before and behind one over which it is averaged, and over which its
            change is taken then.
        limit_deg: A smaller change per sample is still.
    """

    elevation_deg: Floats
    half: int
    limit_deg: float

    def beside(self, start: int, stop: int, share: float) -> Stillness:
        """Return the same with a limit no lower than a share of the fastest in a range."""
        change = self._change_deg(start, stop)
        peak = float(np.nanmax(change)) if np.isfinite(change).any() else 0.0
        return replace(self, limit_deg=max(self.limit_deg, share * peak))

    def where(self, start: int, stop: int) -> Flags:
        """Return in which samples of a range it is still, as far as that is known."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self._change_deg(start, stop) <= self.limit_deg)

    def _change_deg(self, start: int, stop: int) -> Floats:
        """Return the change per sample, ≥ 0, over a range; NaN where elevation is not known."""
        half, count = self.half, len(self.elevation_deg)
        begin, end = max(0, start - 2 * half), min(count, stop + 2 * half)
        part = self.elevation_deg[begin:end]
        known = np.isfinite(part)
        total = np.concatenate([[0.0], np.cumsum(np.where(known, part, 0.0))])
        number = np.concatenate([[0], np.cumsum(known)])
        index = np.arange(start, stop)
        before = np.maximum(index - half, 0)
        behind = np.minimum(index + half, count - 1)

        def mean(about: NDArray[np.int64]) -> Floats:
            low = np.maximum(about - half, begin) - begin
            high = np.minimum(about + half + 1, end) - begin
            seen = number[high] - number[low]
            with np.errstate(invalid="ignore"):
                return np.asarray((total[high] - total[low]) / np.where(seen > 0, seen, np.nan))

        change = np.abs(mean(behind) - mean(before)) / np.maximum(behind - before, 1)
        return np.where(known[start - begin : stop - begin], change, np.nan)


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
            found = self.stop(excursion)
            stop = self._last_known() + 1 if found is None else found.at
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

    def stop(self, excursion: Excursion) -> Stop | None:
        """Return where the way home ended: the arm is still, about to leave again, or lost.

        None if none of these has happened yet. A short loss is looked past.
        """
        highest, home_deg = self._highest(excursion), self.settings.home_deg
        begin = excursion.arrive
        if self.elevation_deg[begin] >= self.settings.boundary_deg:
            # Home because it rests: it came to rest some time before that was sure.
            with np.errstate(invalid="ignore"):
                high = np.flatnonzero(self.elevation_deg[highest:begin] >= home_deg)
            begin = highest + int(high[-1]) + 1
        still = self._stillness(highest, excursion.arrive, from_top=True)
        lost_after, unknown = round(self.settings.unknown_s * self.fs_hz), 0
        for part in range(begin, len(self.elevation_deg), _AT_A_TIME):
            end = min(part + _AT_A_TIME, len(self.elevation_deg))
            lasted = run_lengths(np.isnan(self.elevation_deg[part:end]), unknown)
            with np.errstate(invalid="ignore"):
                leaves = self.elevation_deg[part:end] >= home_deg
            ends = np.flatnonzero(leaves | (lasted > lost_after) | still.where(part, end))
            if len(ends):
                at = part + int(ends[0])
                if lasted[ends[0]]:
                    return Stop(at - lost_after, at)
                return Stop(at, at + 2 * still.half)
            unknown = int(lasted[-1])
        return None

    def _last_known(self) -> int:
        return int(np.flatnonzero(np.isfinite(self.elevation_deg))[-1])

    def _start(self, excursion: Excursion, highest: int, earliest: int) -> tuple[int, bool]:
        """Return where the way up began, and whether that is known to be at home."""
        still = self._stillness(excursion.leave, highest, from_top=False)
        low = max(excursion.known_from, earliest)
        for end in range(excursion.leave, low, -_AT_A_TIME):
            part = max(low, end - _AT_A_TIME)
            where = np.flatnonzero(still.where(part, end))
            if len(where):
                return part + int(where[-1]) + 1, True
        return low, earliest > excursion.known_from

    def _stillness(self, start: int, stop: int, *, from_top: bool) -> Stillness:
        """Return what is still beside the way from *start* to *stop*, one end of it the top."""
        settings = self.settings
        window_s = np.clip(
            settings.onset_window_share * (stop - start) / self.fs_hz,
            settings.onset_window_least_s,
            settings.onset_window_most_s,
        )
        half = max(1, round(float(window_s) * self.fs_hz / 2.0))
        still = Stillness(self.elevation_deg, half, settings.onset_speed_deg_s / self.fs_hz)
        # What is averaged about the top would hold the other way's speed as well.
        clear = min(2 * half, (stop - start) // 2)
        start, stop = (start + clear, stop) if from_top else (start, stop - clear)
        return still.beside(start, stop, settings.onset_share)

    def _highest(self, excursion: Excursion) -> int:
        way = self.elevation_deg[excursion.leave : excursion.arrive]
        return excursion.leave + int(np.nanargmax(way))

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


def _without_overlap(found: list[RepetitionSpans]) -> Iterator[RepetitionSpans]:
    """End a release where the next set-up begins: a hand left on serves both."""
    for spans, following in zip(found, [*found[1:], None], strict=False):
        stop = spans.release.stop
        if following is not None:
            stop = max(spans.release.start, min(stop, following.setup.start))
        yield replace(spans, release=Span(spans.release.start, stop))
