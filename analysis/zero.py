"""The zero: what the cell shows, shell taken out, while nobody touches.

A `zero` event says that the hand was away for the second before it. Without one, the quietest
and lightest windows at home are taken: a hand that holds still to 0.3 N and lies within half a
newton of the lightest touch of the whole recording is not found out by this, which is why a
recording should begin hands off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.recording.model import Event
from analysis.errors import NotAnalysable
from analysis.runs import runs_of
from analysis.settings import AnalysisSettings

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ZERO_EVENT = "zero"
ZERO_EVENT_S = 1.0
"""How long before a zero event the hand was away."""


@dataclass(frozen=True, slots=True)
class Zero:
    """The zero and how it was found.

    Attributes:
        wrench: Shape (3,) or (6,), newtons and newton metres.
        noise_n: SD of one filtered force component inside the windows.
        scatter_n: SD of one force component between windows.
        seconds: Total length of the windows.
        source: For people.
    """

    wrench: Floats
    noise_n: float
    scatter_n: float
    seconds: float
    source: str


def find_zero(
    wrench: Floats,
    at_home: Flags,
    fs_hz: float,
    settings: AnalysisSettings,
    *,
    marked: tuple[slice, ...] = (),
) -> Zero:
    """Return the zero of a recording.

    Args:
        wrench: Shape (n, 3) or (n, 6), filtered, shell out, zero still in; NaN where unknown.
        at_home: Shape (n,), resting at home.
        fs_hz: Rate.
        settings: What counts as quiet.
        marked: Ranges that zero events declare untouched.

    Raises:
        NotAnalysable: There is no moment that could be untouched.
    """
    size = max(2, int(settings.quiet_window_s * fs_hz))
    if marked:
        return _zero_of(_cut(wrench, marked, size), size, fs_hz, "zero event, hands off")
    rests = tuple(slice(start, stop) for start, stop in runs_of(at_home))
    windows = [
        window
        for window in _cut(wrench, rests, size)
        if window[:, :3].std(axis=0).max() < settings.quiet_sd_n
    ]
    if not windows:
        raise NotAnalysable(
            "no zero: the cell is never quiet while the arm hangs at home; begin the recording "
            "with two seconds hands off"
        )
    means = np.array([window[:, :3].mean(axis=0) for window in windows])
    lightest = means[np.argmin(np.linalg.norm(means, axis=1))]
    near = np.linalg.norm(means - lightest, axis=1) < settings.quiet_cluster_n
    kept = [window for window, use in zip(windows, near, strict=True) if use]
    return _zero_of(kept, size, fs_hz, "quietest rests at home")


def marked_windows(
    events: tuple[Event, ...], origin_us: float, fs_hz: float, count: int
) -> tuple[slice, ...]:
    """Return the sample ranges that zero events declare untouched."""
    found = []
    for event in events:
        if event.kind == ZERO_EVENT and event.device_time_us:
            stop = int((event.device_time_us - origin_us) * 1e-6 * fs_hz)
            start = max(0, stop - int(ZERO_EVENT_S * fs_hz))
            if 0 < stop <= count and start < stop:
                found.append(slice(start, stop))
    return tuple(found)


def _cut(wrench: Floats, ranges: tuple[slice, ...], size: int) -> list[Floats]:
    """Return the windows of one length that lie whole in the ranges and are known."""
    windows = [
        wrench[start : start + size]
        for part in ranges
        for start in range(part.start, part.stop - size + 1, size)
    ]
    return [window for window in windows if np.isfinite(window).all()]


def _zero_of(windows: list[Floats], size: int, fs_hz: float, source: str) -> Zero:
    if not windows:
        raise NotAnalysable("no zero: the samples before the zero event are missing or saturated")
    stacked = np.stack(windows)
    means = stacked.mean(axis=1)
    noise = (stacked - means[:, np.newaxis])[:, :, :3].std()
    return Zero(
        wrench=means.mean(axis=0),
        noise_n=float(noise),
        scatter_n=float(means[:, :3].std(axis=0).max()),
        seconds=len(windows) * size / fs_hz,
        source=source,
    )
