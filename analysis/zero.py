"""The zero: what the cell shows, shell taken out, while nobody touches.

A `zero` event says that the hand was away for the second before it. Without one, or if the cell
was not quiet then, the quiet windows of the rests at home are searched. A pushing hand trembles,
an empty cell does not, so windows much less quiet than the quietest are left out. What remains
may still show several levels (a hand that lies on without moving, a strap, warming up): the
lightest one that is not rare is the zero, and how far the others lie from it is reported.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

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
TREMBLE_RATIO = 4.0
"""Windows so much less quiet than the quietest have a hand on. Ours: the SD of noise in a quarter
of a second, low-passed, itself varies by half."""
EMPTY_SD_N = 0.03
"""Quiet enough whatever the quietest window shows: noise of an ordinary cell, low-passed."""
RARE = 0.5
"""A level seen less often than this share of the commonest one is rare."""
MAX_CENTRES = 400
"""Windows tried as the middle of a level: enough, and quick in an hour's recording."""


@dataclass(frozen=True, slots=True)
class Zero:
    """The zero and how it was found.

    Attributes:
        wrench: Shape (3,) or (6,), newtons and newton metres.
        noise_n: SD of the noisiest filtered force component inside the windows.
        scatter_n: SD of the force component that differs most between windows.
        seconds: Total length of the windows.
        apart_n: Largest force that other quiet windows at home show against it.
        moved_n: Likewise of those that show no contact: so far the zero itself may have moved. A
            hand that lies on without trembling is no fault of the zero.
        event_refused: A zero event was there, but the cell was not quiet before it.
        source: For people.
        windows: Shape (k,), where the windows it comes from begin, samples of the grid.
        window_size: Samples of each.
    """

    wrench: Floats
    noise_n: float
    scatter_n: float
    seconds: float
    apart_n: float
    moved_n: float
    event_refused: bool
    source: str
    windows: NDArray[np.int64]
    window_size: int


@dataclass(frozen=True, slots=True)
class _Windows:
    """Windows of one length: starts (k,), means (k, 3 or 6) and force variances (k, 3)."""

    starts: NDArray[np.int64]
    means: Floats
    variances: Floats

    @property
    def spread_n(self) -> Floats:
        """SD of the least quiet component of each, shape (k,)."""
        return np.asarray(np.sqrt(self.variances.max(axis=1)))

    def where(self, use: Flags) -> _Windows:
        return _Windows(self.starts[use], self.means[use], self.variances[use])


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
    rests = _quiet(_cut(wrench, (slice(*run) for run in runs_of(at_home)), size), settings)
    declared = _quiet(_cut(wrench, marked, size), settings)
    if len(declared.means):
        return _zero_of(declared, rests, size, fs_hz, settings, "zero event, hands off")
    if not len(rests.means):
        raise NotAnalysable(
            "no zero: the cell is never quiet while the arm hangs at home; begin the recording "
            "with two seconds hands off"
        )
    lightest = rests.where(_lightest_level(rests.means, settings))
    zero = _zero_of(lightest, rests, size, fs_hz, settings, "quiet rests at home")
    return replace(zero, event_refused=bool(marked))


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


def _cut(wrench: Floats, ranges: Iterable[slice], size: int) -> _Windows:
    """Return the windows of *size* samples that lie whole in the ranges and are known."""
    starts = [np.empty(0, dtype=np.int64)]
    means, variances = [np.empty((0, wrench.shape[1]))], [np.empty((0, 3))]
    for part in ranges:
        count = (part.stop - part.start) // size
        cut = wrench[part.start : part.start + count * size].reshape(count, size, -1)
        known = np.isfinite(cut).all(axis=(1, 2))
        cut = cut[known]
        starts.append(part.start + size * np.flatnonzero(known))
        means.append(cut.mean(axis=1))
        variances.append(cut[:, :, :3].var(axis=1))
    return _Windows(np.concatenate(starts), np.concatenate(means), np.concatenate(variances))


def _quiet(windows: _Windows, settings: AnalysisSettings) -> _Windows:
    if not len(windows.means):
        return windows
    spread = windows.spread_n
    limit = max(EMPTY_SD_N, TREMBLE_RATIO * float(spread.min()))
    return windows.where(spread <= min(limit, settings.quiet_sd_n))


def _lightest_level(means: Floats, settings: AnalysisSettings) -> Flags:
    """Return which windows show the lightest level that is not rare, shape (k,)."""
    centres = means[:: -(-len(means) // MAX_CENTRES), :3]
    away = np.linalg.norm(centres[:, np.newaxis] - means[np.newaxis, :, :3], axis=2)
    near = away <= settings.quiet_cluster_n
    seen = near.sum(axis=1)
    common = np.flatnonzero(seen >= RARE * seen.max())
    lightest = common[np.argmin(np.linalg.norm(centres[common], axis=1))]
    # The window met may lie at the level's edge: look again round the level's own middle.
    middle = np.median(means[near[lightest], :3], axis=0)
    level = np.linalg.norm(means[:, :3] - middle, axis=1) <= settings.quiet_cluster_n
    return np.asarray(level)


def _zero_of(
    windows: _Windows,
    rests: _Windows,
    size: int,
    fs_hz: float,
    settings: AnalysisSettings,
    source: str,
) -> Zero:
    zero = windows.means.mean(axis=0)
    apart = np.linalg.norm(rests.means[:, :3] - zero[:3], axis=1)
    return Zero(
        wrench=zero,
        noise_n=float(np.sqrt(windows.variances.mean(axis=0).max())),
        scatter_n=float(windows.means[:, :3].std(axis=0).max()),
        seconds=len(windows.means) * size / fs_hz,
        apart_n=float(apart.max(initial=0.0)),
        moved_n=float(apart[apart < settings.contact_off_n].max(initial=0.0)),
        event_refused=False,
        source=source,
        windows=windows.starts,
        window_size=size,
    )
