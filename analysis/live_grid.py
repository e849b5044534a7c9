"""The even grid of `timebase`, for blocks as they come.

How the streams are cut into blocks changes nothing. Two things differ from the whole recording:
spikes stay, as taking them out needs the samples behind them, and stamps are taken as they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import PhysicalUnits, at_rails
from acquisition.rig import RigDescription
from analysis.errors import NotAnalysable
from analysis.settings import AnalysisSettings
from analysis.timebase import Sampled, longest_bridge_s, onto_grid, physical_values
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM, Identity, StreamSpec

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NEW_CLOCK_S = 0.5
"""Device time that goes back by more is a rig that restarted; by less, a repeated block."""
LONG_GAP_S = 1.0
"""Of a longer gap only so much is given out: a night's pause is no million of empty rows."""
MAX_PENDING_S = 20.0
"""One stream waits so long for the other before its oldest samples are let go, as a gap."""


@dataclass(frozen=True, slots=True)
class GridBlock:
    """Consecutive rows of the grid.

    Attributes:
        fresh: The rig has restarted right before: nothing from before holds any more.
        time_s: Shape (n,), since the first common sample.
        pushed: Shape (n, 3 or 6): force, and moment if there is one; H of a right shoulder.
        moved: Shape (n, 6): specific force and angular rate.
        force_gap: Shape (n,).
        imu_gap: Shape (n,).
        force_rail: Shape (n,), saturated.
        imu_rail: Shape (n,).
    """

    fresh: bool
    time_s: Floats
    pushed: Floats
    moved: Floats
    force_gap: Flags
    imu_gap: Flags
    force_rail: Flags
    imu_rail: Flags


class LiveGrid:
    """Gathers force and inertial samples and gives them out on one grid.

    Attributes:
        fs_hz: Rate of the grid.

    Raises:
        NotAnalysable: The rig does not offer both streams.
    """

    def __init__(self, rig: RigDescription, identity: Identity, settings: AnalysisSettings) -> None:
        specs = {spec.name: spec for spec in identity.streams}
        for name in (FORCE_STREAM, IMU_STREAM):
            if name not in specs:
                raise NotAnalysable(f"the rig offers no stream {name!r}: it cannot be resolved")
        self.fs_hz = settings.grid_rate_hz or float(specs[FORCE_STREAM].rate_hz)
        self._specs = {name: specs[name] for name in (FORCE_STREAM, IMU_STREAM)}
        self._units = PhysicalUnits(rig)
        self._settings = settings
        self._clocks = [self._new_clock(0.0)]
        self._clock_of = dict.fromkeys(self._specs, 0)
        self._fresh = False

    def feed(self, name: str, device_time_us: NDArray[np.int64], counts: NDArray[np.int32]) -> None:
        """Take samples of a stream; one that is not used is passed over.

        Args:
            name: Of the stream.
            device_time_us: Shape (n,).
            counts: Shape (n, channels), raw.
        """
        if name not in self._specs or not len(counts):
            return
        spec = self._specs[name]
        samples = Sampled(
            np.asarray(device_time_us * 1e-6),
            physical_values(self._units, counts, spec),
            at_rails(counts, spec),
        )
        back = np.flatnonzero(np.diff(samples.time_s) < -NEW_CLOCK_S) + 1
        for part in np.split(np.arange(len(counts)), back):
            self._feed_rising(name, _rows(samples, part))

    def time_s(self, device_time_us: int) -> float:
        """Return where on the grid a moment of the rig's clock lies; NaN before it has begun."""
        return self._clocks[-1].time_s(device_time_us * 1e-6)

    def time_s_of(self, device_s: float) -> float:
        """Return where on the grid a time of the rig's clock lies, by the clock being given out."""
        return self._clocks[0].time_s(device_s)

    def take(self) -> Iterator[GridBlock]:
        """Yield what both streams cover and was not given out yet."""
        while True:
            yield from self._clocks[0].take(fresh=self._fresh)
            if min(self._clock_of.values()) == 0:
                return
            last_s = self._clocks.pop(0).last_s
            self._clock_of = {name: number - 1 for name, number in self._clock_of.items()}
            self._clocks[0].begin_s = last_s + 1.0 / self.fs_hz
            self._fresh = True

    def _feed_rising(self, name: str, samples: Sampled) -> None:
        clock = self._clocks[self._clock_of[name]]
        if samples.time_s[0] < clock.latest_s(name) - NEW_CLOCK_S:
            self._clock_of[name] += 1
            if self._clock_of[name] == len(self._clocks):
                self._clocks.append(self._new_clock(0.0))
            clock = self._clocks[self._clock_of[name]]
        clock.feed(name, samples)

    def _new_clock(self, begin_s: float) -> _OneClock:
        return _OneClock(self._specs, self.fs_hz, begin_s, self._settings.max_gap_s)


class _OneClock:
    """The grid while the rig's clock runs on."""

    def __init__(
        self, specs: dict[str, StreamSpec], fs_hz: float, begin_s: float, max_gap_s: float
    ) -> None:
        self.begin_s = begin_s
        self.last_s = begin_s
        self._fs_hz = fs_hz
        self._bridge_s = {name: longest_bridge_s(spec, max_gap_s) for name, spec in specs.items()}
        self._held: dict[str, Sampled] = {}
        self._start_s = np.nan
        self._next = 0

    def time_s(self, device_s: float) -> float:
        """Return where on the grid a time of the rig's clock lies, NaN before it has begun."""
        return self.begin_s + device_s - self._start_s

    def latest_s(self, name: str) -> float:
        """Return the time of the newest sample, −∞ before the first."""
        return float(self._held[name].time_s[-1]) if name in self._held else -np.inf

    def feed(self, name: str, samples: Sampled) -> None:
        """Take samples; those not later than the ones held were heard already."""
        rising = np.maximum.accumulate(samples.time_s)
        before = np.concatenate([[self.latest_s(name)], rising[:-1]])
        new = _rows(samples, samples.time_s > before)
        if not len(new.time_s):
            return
        if name in self._held:
            new = _joined(self._held[name], new)
        if new.time_s[-1] - new.time_s[0] > MAX_PENDING_S and len(new.time_s) > 2:
            keep = new.time_s > new.time_s[-1] - MAX_PENDING_S
            keep[0] = True
            new = _rows(new, keep)
        self._held[name] = new

    def take(self, *, fresh: bool) -> Iterator[GridBlock]:
        """Yield the rows that both streams cover by now."""
        if len(self._held) < 2 or any(len(held.time_s) < 2 for held in self._held.values()):
            return
        force, imu = self._held[FORCE_STREAM], self._held[IMU_STREAM]
        if np.isnan(self._start_s):
            self._start_s = float(max(force.time_s[0], imu.time_s[0]))
        stop = self._index(min(force.time_s[-1], imu.time_s[-1])) + 1
        if stop <= self._next:
            return
        index = self._worth_giving(stop)
        if len(index):
            fresh = fresh and self._next == 0
            yield self._block(index, fresh=fresh)
        self._next = stop
        for name in self._held:
            self._prune(name, self._start_s + stop / self._fs_hz)

    def _block(self, index: NDArray[np.int64], *, fresh: bool) -> GridBlock:
        grid = self._start_s + index / self._fs_hz
        pushed, force_gap, force_rail = self._onto(FORCE_STREAM, grid)
        moved, imu_gap, imu_rail = self._onto(IMU_STREAM, grid)
        time_s = self.begin_s + index / self._fs_hz
        self.last_s = float(time_s[-1])
        return GridBlock(fresh, time_s, pushed, moved, force_gap, imu_gap, force_rail, imu_rail)

    def _onto(self, name: str, grid: Floats) -> tuple[Floats, Flags, Flags]:
        return onto_grid(grid, self._held[name], self._bridge_s[name])

    def _index(self, device_s: float) -> int:
        """Return the last grid row not after a device time."""
        return int(np.floor((device_s - self._start_s) * self._fs_hz))

    def _worth_giving(self, stop: int) -> NDArray[np.int64]:
        """Return the rows from the next one to *stop*, without the inside of long gaps."""
        skips = []
        for held in self._held.values():
            for before in np.flatnonzero(np.diff(held.time_s) > LONG_GAP_S):
                first = self._index(held.time_s[before] + LONG_GAP_S)
                skips.append((first, self._index(held.time_s[before + 1])))
        rows, at = [], self._next
        for first, last in sorted(skips):
            rows.append(np.arange(at, min(max(first, at), stop)))
            at = max(at, min(last, stop))
        return np.concatenate([*rows, np.arange(at, stop)])

    def _prune(self, name: str, next_s: float) -> None:
        """Keep from the last sample before the next grid time on."""
        held = self._held[name]
        keep = max(0, min(int(np.searchsorted(held.time_s, next_s)) - 1, len(held.time_s) - 2))
        self._held[name] = _rows(held, slice(keep, None))


def _rows(samples: Sampled, use: NDArray[np.integer] | Flags | slice) -> Sampled:
    return Sampled(samples.time_s[use], samples.values[use], samples.saturated[use])


def _joined(first: Sampled, second: Sampled) -> Sampled:
    return Sampled(
        np.concatenate([first.time_s, second.time_s]),
        np.concatenate([first.values, second.values]),
        np.concatenate([first.saturated, second.saturated]),
    )
