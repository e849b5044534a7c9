"""Cutting a trial into repetitions and phases.

Two levels with hysteresis: an excursion counts once the arm has passed the minimum amplitude,
and ends when it is down again below the home level, so that a tremble at either threshold, a
pause on the way or a second attempt half-way makes no second repetition. Precise boundaries are
walked back from the thresholds. Ranges are half-open in samples.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta
from numpy.typing import NDArray

from analysis.runs import runs_of, with_hysteresis, without_short_gaps
from analysis.series import ResolvedSeries
from analysis.trial import RepetitionSpans, Span

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

Positive = Annotated[float, Meta(gt=0)]


class RepetitionSettings(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Thresholds of the cutting. All ours, unless said.

    Attributes:
        minimum_amplitude_deg: An excursion that never passes this is no repetition.
        home_deg: Below this the arm is down. Above the noise of elevation (0.5 degrees) and a
            resting arm's tremble.
        boundary_deg: Below this the arm has arrived.
        onset_share: From the boundary the start is walked back, and the end on, to where the speed
            has fallen to this share of the excursion's peak (5 %: common practice).
        onset_speed_deg_s: No slower than this is looked for: a resting arm trembles.
        refractory_s: Down for less than this is a bounce at the stop, not the end.
        top_deg: Within this of the highest elevation, on either side, is the top.
        unknown_s: A longer stretch without elevation ends a repetition unfinished.
    """

    minimum_amplitude_deg: Positive = 30.0
    home_deg: Positive = 8.0
    boundary_deg: Positive = 3.0
    onset_share: Positive = 0.05
    onset_speed_deg_s: Positive = 0.3
    refractory_s: Positive = 0.5
    top_deg: Positive = 3.0
    unknown_s: Positive = 1.0


def find_repetitions(
    series: ResolvedSeries, settings: RepetitionSettings | None = None
) -> tuple[RepetitionSpans, ...]:
    """Return the repetitions of a series, unfinished ones included.

    Args:
        series: The resolved push.
        settings: Thresholds; None takes the defaults.
    """
    settings = settings or RepetitionSettings()
    elevation_deg = np.rad2deg(series.elevation_rad)
    holds = tuple(runs_of(series.contact))
    found: list[RepetitionSpans] = []
    speed_deg_s = np.abs(np.rad2deg(series.elevation_speed_rad_s))
    for left, arrived, complete in _excursions(elevation_deg, series.fs_hz, settings):
        earliest = found[-1].lowering.stop if found else 0
        highest = left + int(np.nanargmax(elevation_deg[left:arrived]))
        start = max(earliest, _last_true(_still(speed_deg_s, left, highest, settings), left))
        stop = arrived
        if complete:
            stop = _first_true(_still(speed_deg_s, highest, arrived, settings), arrived)
        spans = _spans(elevation_deg, holds, start, stop, earliest, settings, complete=complete)
        found.append(spans)
    return tuple(_without_overlap(found))


def _excursions(
    elevation_deg: Floats, fs_hz: float, settings: RepetitionSettings
) -> Iterator[tuple[int, int, bool]]:
    """Yield start, stop and completeness of every excursion past the minimum amplitude."""
    for begin, end in _known_stretches(elevation_deg, fs_hz, settings):
        part = elevation_deg[begin:end]
        away = with_hysteresis(part, on=settings.home_deg, off=settings.boundary_deg)
        away = without_short_gaps(away, int(settings.refractory_s * fs_hz))
        for start, stop in runs_of(away):
            if np.nanmax(part[start:stop]) < settings.minimum_amplitude_deg:
                continue
            whole = _walk_back(part, start, settings.boundary_deg)
            # Cut off where the stretch begins or ends in mid-movement.
            complete = whole > 0 and stop < len(part)
            yield begin + whole, begin + stop, complete


def _known_stretches(
    elevation_deg: Floats, fs_hz: float, settings: RepetitionSettings
) -> Iterator[tuple[int, int]]:
    known = without_short_gaps(np.isfinite(elevation_deg), int(settings.unknown_s * fs_hz))
    yield from runs_of(known)


def _walk_back(elevation_deg: Floats, start: int, level_deg: float) -> int:
    """Return the first sample behind the last one below *level_deg* before *start*."""
    with np.errstate(invalid="ignore"):
        below = np.flatnonzero(elevation_deg[: start + 1] < level_deg)
    return int(below[-1]) + 1 if len(below) else 0


def _still(speed_deg_s: Floats, start: int, stop: int, settings: RepetitionSettings) -> Flags:
    """Tell where the arm is still, by the peak speed of its way from *start* to *stop*."""
    way = speed_deg_s[start:stop]
    known = way[np.isfinite(way)]
    peak = float(known.max()) if len(known) else 0.0
    limit = max(settings.onset_speed_deg_s, settings.onset_share * peak)
    return ~(speed_deg_s > limit)  # the unknown counts as still: nothing is walked through it


def _last_true(flags: Flags, before: int) -> int:
    """Return the first sample behind the last true one before *before*, 0 if there is none."""
    true = np.flatnonzero(flags[:before])
    return int(true[-1]) + 1 if len(true) else 0


def _first_true(flags: Flags, start: int) -> int:
    """Return the first true sample from *start* on, the end if there is none."""
    true = np.flatnonzero(flags[start:])
    return start + int(true[0]) if len(true) else len(flags)


def _spans(
    elevation_deg: Floats,
    holds: tuple[tuple[int, int], ...],
    start: int,
    stop: int,
    earliest: int,
    settings: RepetitionSettings,
    *,
    complete: bool,
) -> RepetitionSpans:
    up, down = _top(elevation_deg[start:stop], settings.top_deg)
    movement = Span(start, stop)
    setup_start, release_stop = start, stop
    for on, off in holds:
        if on < start < off:
            setup_start = max(on, earliest)
        if on < stop < off:
            release_stop = off
    return RepetitionSpans(
        setup=Span(setup_start, start),
        raising=Span(movement.start, start + up),
        top=Span(start + up, start + down),
        lowering=Span(start + down, movement.stop),
        release=Span(stop, release_stop),
        complete=complete,
    )


def _top(elevation_deg: Floats, within_deg: float) -> tuple[int, int]:
    """Return where the top begins and ends: first and last sample that near the highest."""
    near = np.flatnonzero(elevation_deg >= np.nanmax(elevation_deg) - within_deg)
    return int(near[0]), int(near[-1]) + 1


def _without_overlap(found: list[RepetitionSpans]) -> Iterator[RepetitionSpans]:
    """End a release where the next set-up begins: a hand left on serves both."""
    for spans, following in zip(found, [*found[1:], None], strict=False):
        stop = spans.release.stop
        if following is not None:
            stop = max(spans.release.start, min(stop, following.setup.start))
        yield replace(spans, release=Span(spans.release.start, stop))
