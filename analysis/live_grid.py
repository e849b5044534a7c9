"""The even grid of `timebase`, for blocks as they come."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import PhysicalUnits
from acquisition.rig import RigDescription
from analysis.timebase import Sampled, onto_grid
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM, Identity, StreamSpec

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class LiveGrid:
    """Gathers force and inertial samples and gives them out on one grid.

    How the streams are cut into blocks changes nothing. Spikes are not removed here: that needs
    the samples behind them.
    """

    def __init__(self, rig: RigDescription, identity: Identity, *, max_gap_s: float) -> None:
        self._units = PhysicalUnits(rig)
        self._specs: dict[str, StreamSpec] = {spec.name: spec for spec in identity.streams}
        self._max_gap_s = max_gap_s
        self._held: dict[str, Sampled] = {}
        self._next = 0
        self._start_s: float | None = None
        self.fs_hz = float(self._specs[FORCE_STREAM].rate_hz)

    def feed(self, name: str, device_time_us: NDArray[np.int64], counts: NDArray[np.int32]) -> None:
        """Take samples of a stream; one that is not used is passed over.

        Args:
            name: Of the stream.
            device_time_us: Shape (n,).
            counts: Shape (n, channels), raw.
        """
        if name not in (FORCE_STREAM, IMU_STREAM) or not len(counts):
            return
        times: Floats = device_time_us * np.float64(1e-6)
        new = Sampled(times, *self._physical(name, counts))
        held = self._held.get(name)
        if held is not None:
            later = new.time_s > held.time_s[-1]  # repeated samples were heard already
            new = Sampled(
                np.concatenate([held.time_s, new.time_s[later]]),
                np.concatenate([held.values, new.values[later]]),
                np.concatenate([held.saturated, new.saturated[later]]),
            )
        self._held[name] = new

    def take(self) -> tuple[Floats, Floats, Flags, Flags] | None:
        """Return what both streams cover and was not given out yet, None if nothing.

        Returns:
            Times since the first common sample (n,), values (n, 9 or 12): force, moment if any,
            specific force, angular rate; missing (n,), saturated (n,).
        """
        if len(self._held) < 2 or any(len(held.time_s) < 2 for held in self._held.values()):
            return None
        force, imu = self._held[FORCE_STREAM], self._held[IMU_STREAM]
        if self._start_s is None:
            self._start_s = max(force.time_s[0], imu.time_s[0])
        last = min(force.time_s[-1], imu.time_s[-1])
        stop = int(np.floor((last - self._start_s) * self.fs_hz)) + 1
        if stop <= self._next:
            return None
        grid = self._start_s + np.arange(self._next, stop) / self.fs_hz
        pushed, force_gap, force_rail = onto_grid(grid, force, self._max_gap_s)
        moved, imu_gap, imu_rail = onto_grid(grid, imu, self._max_gap_s)
        self._next = stop
        for name in self._held:
            self._prune(name, self._start_s + stop / self.fs_hz)
        values = np.hstack([pushed, moved])
        return grid - self._start_s, values, force_gap | imu_gap, force_rail | imu_rail

    def _physical(self, name: str, counts: NDArray[np.int32]) -> tuple[Floats, Flags]:
        spec = self._specs[name]
        if name == IMU_STREAM:
            inertial = self._units.inertial(counts, spec)
            parts = [inertial.specific_force_m_s2, inertial.angular_rate_rad_s]
            return np.hstack(parts), inertial.saturated
        wrench = self._units.wrench(counts, spec)
        moment = [] if wrench.moment_nm is None else [wrench.moment_nm]
        return np.hstack([wrench.force_n, *moment]), wrench.saturated

    def _prune(self, name: str, next_s: float) -> None:
        """Keep from the last sample before the next grid time on."""
        held = self._held[name]
        keep = max(0, min(int(np.searchsorted(held.time_s, next_s)) - 1, len(held.time_s) - 2))
        self._held[name] = Sampled(held.time_s[keep:], held.values[keep:], held.saturated[keep:])
