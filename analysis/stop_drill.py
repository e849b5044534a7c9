"""How a hand answers the call that a movement has become uncomfortable.

The same function on the live series and on that of a recording, so that a drill has one answer.
The hand is easing once the push stays below what it was before the call by more than its own
tremble; what it did then is told up to the moment when it is off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.recording.model import Recording
from analysis.event_times import event_times_s
from analysis.runs import runs_of
from analysis.series import ResolvedSeries, rows_of
from analysis.trial import Measured, StopDrill

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STOP_EVENT = "stop_call"
BEFORE_S = 0.5
"""The push before the call is the mean over this."""
ANSWER_S = 5.0
"""Later is no answer to the call."""
TOO_SOON_S = 0.1
"""Nobody answers a sound within this: easing had begun by itself (common practice)."""
EASED_SHARE = 0.05
"""Easing is a push that has fallen by this share of what it was,"""
EASED_SDS = 4.0
"""and by so many SDs of its tremble,"""
SUSTAINED_S = 0.15
"""for at least this long: a dip of the tremble is no answer."""

KEYS = (
    ("stop_reaction_ms", "reaction", "ms", 0),
    ("stop_off_ms", "hand off", "ms", 0),
    ("stop_superior_rise_N", "upward slip while easing", "N", 1),
    ("stop_force_peak_N", "peak force while easing", "N", 1),
    ("stop_elevation_deg", "elevation at the call", "°", 0),
)
"""Key, label, unit and decimals of what a drill measures: from the call until the hand is easing;
until it is off; the largest upward component until then, over what a push of that moment's size
would have in the direction of before the call: a hand that only eases turns nowhere, and reads 0
whichever way it aims; the largest push until then; where the arm was."""


def stop_drills(
    recording: Recording, series: ResolvedSeries, origin_us: float
) -> tuple[StopDrill, ...]:
    """Return the drills of a recording, in order.

    Args:
        recording: With a force stream that has samples.
        series: Its resolved push.
        origin_us: `analysis.timebase.Grid.origin_us`.
    """
    if not any(event.kind == STOP_EVENT for event in recording.events):
        return ()
    times_s = event_times_s(recording, origin_us).tolist()
    called = zip(recording.events, times_s, strict=True)
    return tuple(measure_stop(series, at_s) for event, at_s in called if event.kind == STOP_EVENT)


def measure_stop(series: ResolvedSeries, called_s: float) -> StopDrill:
    """Return how a call was answered.

    Args:
        series: The resolved push, from before the call until some seconds after it.
        called_s: When it was called, on the series.
    """
    begin, stop = np.searchsorted(
        series.time_s, [called_s - BEFORE_S, called_s + ANSWER_S]
    ).tolist()
    call = int(np.searchsorted(series.time_s, called_s))
    doubt = _doubt(series, begin, call)
    if doubt:
        return StopDrill(called_s, _nothing(doubt))
    return StopDrill(called_s, _answer(series, begin, call, stop, called_s))


def _doubt(series: ResolvedSeries, begin: int, call: int) -> str:
    """Return why nothing can be told, empty if something can."""
    if call >= len(series) or call - begin < 0.9 * BEFORE_S * series.fs_hz:
        return "the call lies outside the recording"
    before = slice(begin, call)
    if not _known(series)[before].all():
        return "samples are missing, or saturated, before the call"
    if not series.contact[before].all():
        return "the hand was not on when it was called"
    return ""


def _answer(series: ResolvedSeries, begin: int, call: int, stop: int, called_s: float) -> Measured:
    after = rows_of(series, slice(call, stop))
    lost = _first(~_known(after))
    off = _first(~after.contact)
    eased = _eased(series.magnitude_n[begin:call], after.magnitude_n[:lost], series.fs_hz)
    missing = "samples are missing, or saturated, after the call"
    too_late = f"not within {ANSWER_S:g} s of the call"
    if len(after) < 0.99 * ANSWER_S * series.fs_hz:
        too_late = "the recording ends before"
    if lost is not None and (off is None or lost <= off):
        off, too_late = None, missing
        easing = slice(0, 0)
    else:
        easing = slice(0, off)
    reaction = _Value.since(called_s, after, eased, too_late)
    if reaction.value is not None and reaction.value < TOO_SOON_S * 1e3:
        reaction = _Value(None, "easing had begun before it could be an answer")
    before = slice(begin, call)
    share = float(series.superior_force_n[before].mean() / series.magnitude_n[before].mean())
    rise_n = after.superior_force_n[easing] - share * after.magnitude_n[easing]
    found = (
        reaction,
        _Value.since(called_s, after, off, too_late),
        _Value.largest(rise_n, missing),
        _Value.largest(after.magnitude_n[easing], missing),
        _Value.largest(
            np.rad2deg(series.elevation_rad[call : call + 1]), "the elevation is not known then"
        ),
    )
    named = [(key, one) for (key, *_), one in zip(KEYS, found, strict=True)]
    return Measured(
        {key: one.value for key, one in named},
        {key: one.reason for key, one in named if one.value is None},
    )


@dataclass(frozen=True, slots=True)
class _Value:
    """A number, or the reason why there is none."""

    value: float | None
    reason: str = ""

    @classmethod
    def since(cls, called_s: float, after: ResolvedSeries, row: int | None, why: str) -> _Value:
        """Return the milliseconds from the call to a row."""
        if row is None:
            return cls(None, why)
        return cls((float(after.time_s[row]) - called_s) * 1e3)

    @classmethod
    def largest(cls, values: Floats, why: str) -> _Value:
        """Return the largest of some values."""
        known = values[np.isfinite(values)]
        return cls(float(known.max())) if len(known) else cls(None, why)


def _eased(before_n: Floats, after_n: Floats, fs_hz: float) -> int | None:
    """Return the first sample after the call from which the push stays fallen, if any."""
    level = float(before_n.mean())
    at = np.arange(len(before_n), dtype=np.float64)
    slope = np.polynomial.Polynomial.fit(at, before_n, 1)
    tremble = float((before_n - slope(at)).std())
    limit_n = level - max(EASED_SHARE * level, EASED_SDS * tremble)
    least = max(1, round(SUSTAINED_S * fs_hz))
    fallen = runs_of(np.asarray(after_n < limit_n))
    return next((start for start, end in fallen if end - start >= least), None)


def _nothing(reason: str) -> Measured:
    keys: Sequence[str] = [key for key, *_ in KEYS]
    return Measured(dict.fromkeys(keys), dict.fromkeys(keys, reason))


def _known(series: ResolvedSeries) -> Flags:
    return np.asarray(np.isfinite(series.magnitude_n))


def _first(flags: Flags) -> int | None:
    found = np.flatnonzero(flags)
    return int(found[0]) if len(found) else None
