"""One even time grid for streams that were sampled apart, gaps kept.

Between two samples further apart than the policy allows nothing is known: there the grid is
masked, never bridged by a straight line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import PhysicalUnits, at_rails
from acquisition.recording.model import Recording, StreamData
from analysis.errors import NotAnalysable
from analysis.filters import without_spikes
from analysis.runs import parts_of
from analysis.sample_times import STAMP_S, clock_offsets_us, sample_times_s
from analysis.settings import AnalysisSettings
from analysis.vectors import side_by_side
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM, StreamSpec

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MAX_GAP_SAMPLES = 2.5
"""Spacings up to so many samples of a slow stream are bridged: one lost sample, and jitter."""


@dataclass(frozen=True, slots=True)
class Grid:
    """An even grid of n times, and what is known there.

    Attributes:
        fs_hz: Its rate.
        time_s: Shape (n,), from the first sample that both streams cover.
        origin_us: Device time, in the clock of the first segment, at which time_s is 0.
        force_known: Shape (n,), a force was measured here and was not saturated.
        imu_known: Shape (n,), likewise of the inertial unit.
        missing: Shape (n,), a stream has a gap here.
        saturated: Shape (n,), a sample used here stood at a rail.
        imu_rate_hz: Nominal rate of the inertial unit.
        spikes_removed: How many single values were replaced.
    """

    fs_hz: float
    time_s: Floats
    origin_us: float
    force_known: Flags
    imu_known: Flags
    missing: Flags
    saturated: Flags
    imu_rate_hz: float
    spikes_removed: int


@dataclass(frozen=True, slots=True)
class Sampled:
    """A stream in physical units at its own times: time_s (n,), values (n, k), saturated (n,)."""

    time_s: Floats
    values: Floats
    saturated: Flags


def even_samples(recording: Recording, settings: AnalysisSettings) -> tuple[Grid, Floats, Floats]:
    """Bring force and inertial samples of a recording onto one grid.

    The grid has the force stream's nominal rate, unless the settings say otherwise.

    Returns:
        The grid; what the cell measures, (n, 3) force or (n, 6) with the moment about its origin,
        NaN where not known; specific force and angular rate, (n, 6), finite everywhere. Both in
        H of a right shoulder.

    Raises:
        NotAnalysable: A stream is missing or empty, or the two never overlap.
    """
    force_stream = _needed(recording, FORCE_STREAM, channels=recording.rig.cell.axes)
    imu_stream = _needed(recording, IMU_STREAM, channels=6)
    clocks = clock_offsets_us(recording.streams)
    units = PhysicalUnits(recording.rig)
    force, force_spikes = _raw(force_stream, clocks, settings)
    imu, imu_spikes = _raw(imu_stream, clocks, settings)
    fs_hz = settings.grid_rate_hz or float(force_stream.spec.rate_hz)
    start, count = _overlap(force.time_s, imu.time_s, fs_hz)
    grid = start + np.arange(count) / fs_hz
    pushed, force_gap, force_rail = _gridded(grid, force, units, settings.max_gap_s)
    moved, imu_gap, imu_rail = _gridded(grid, imu, units, settings.max_gap_s)
    force_known = ~(force_gap | force_rail)
    pushed[~force_known] = np.nan
    found = Grid(
        fs_hz=fs_hz,
        time_s=grid - start,
        origin_us=start * 1e6,
        force_known=force_known,
        imu_known=~(imu_gap | imu_rail),
        missing=force_gap | imu_gap,
        saturated=force_rail | imu_rail,
        imu_rate_hz=float(imu_stream.spec.rate_hz),
        spikes_removed=force_spikes + imu_spikes,
    )
    return found, pushed, moved


def stream_on_grid(
    recording: Recording, stream: StreamData, grid: Grid, settings: AnalysisSettings
) -> tuple[Floats, Flags]:
    """Bring one more stream onto the grid of the others.

    Returns:
        Its physical values (n, k), NaN where not known; where they are known (n,): not in a gap,
        not at a rail, not before its first or behind its last sample.
    """
    raw, _ = _raw(stream, clock_offsets_us(recording.streams), settings)
    times = grid.time_s + grid.origin_us * 1e-6
    values, gap, rail = _gridded(times, raw, PhysicalUnits(recording.rig), settings.max_gap_s)
    known = ~(gap | rail) & (times >= raw.time_s[0]) & (times <= raw.time_s[-1])
    values[~known] = np.nan
    return values, known


def longest_bridge_s(spec: StreamSpec, max_gap_s: float) -> float:
    """Return the longest spacing of a stream's samples that is bridged."""
    return max(max_gap_s, MAX_GAP_SAMPLES / spec.rate_hz)


def physical_values(units: PhysicalUnits, counts: NDArray[np.int32], spec: StreamSpec) -> Floats:
    """Return force, and moment if there is one, or specific force and angular rate, (n, k)."""
    if spec.name == units.stabiliser_stream:
        return units.stabiliser(counts, spec).force_n
    if spec.name == IMU_STREAM:
        inertial = units.inertial(counts, spec)
        return side_by_side(inertial.specific_force_m_s2, inertial.angular_rate_rad_s)
    wrench = units.wrench(counts, spec)
    if wrench.moment_nm is None:
        return wrench.force_n
    return side_by_side(wrench.force_n, wrench.moment_nm)


def _needed(recording: Recording, name: str, *, channels: int) -> StreamData:
    stream = recording.streams.get(name)
    if stream is None:
        raise NotAnalysable(f"the recording has no stream {name!r}: the rig did not offer one")
    if len(stream.counts) < 2:
        raise NotAnalysable(f"stream {name!r} holds {len(stream.counts)} samples: nothing to do")
    if stream.counts.shape[1] != channels:
        raise NotAnalysable(
            f"stream {name!r} has {stream.counts.shape[1]} channels, the rig description "
            f"asks for {channels}: record with the description of this rig"
        )
    return stream


@dataclass(frozen=True, slots=True)
class _Raw:
    """A stream in order, still in counts: times (n,), counts (n, channels), saturated (n,)."""

    spec: StreamSpec
    time_s: Floats
    counts: NDArray[np.int32]
    saturated: Flags


def _raw(
    stream: StreamData, clocks: Mapping[int, float], settings: AnalysisSettings
) -> tuple[_Raw, int]:
    """Return a stream without spikes, in order of time, and how many spikes there were."""
    counts, spikes = without_spikes(stream.counts, sds=settings.spike_sds)
    saturated = at_rails(stream.counts, stream.spec)
    time_s = sample_times_s(stream, clocks)
    if not (np.diff(time_s) > 0.0).all():
        # Repeated or reordered blocks: the first sample heard for a moment counts.
        time_s, first = np.unique(time_s, return_index=True)
        counts, saturated = counts[first], saturated[first]
    return _Raw(stream.spec, time_s, counts, saturated), spikes


def _overlap(force_s: Floats, imu_s: Floats, fs_hz: float) -> tuple[float, int]:
    """Return where the grid starts, seconds, and how many points it has."""
    start = max(force_s[0], imu_s[0])
    count = int(np.floor((min(force_s[-1], imu_s[-1]) - start) * fs_hz)) + 1
    if count < 2:
        raise NotAnalysable("force and inertial samples never overlap in time: check the rig")
    return float(start), count


def _gridded(
    grid: Floats, raw: _Raw, units: PhysicalUnits, max_gap_s: float
) -> tuple[Floats, Flags, Flags]:
    """Return a stream's physical values on the grid, its gaps, its rails; part by part."""
    bridge_s = longest_bridge_s(raw.spec, max_gap_s)
    values = np.empty((raw.counts.shape[1], len(grid))).T
    gap, rail = np.empty(len(grid), dtype=np.bool_), np.empty(len(grid), dtype=np.bool_)
    for part in parts_of(len(grid)):
        first, last = grid[part.start], grid[part.stop - 1]
        low = max(0, int(np.searchsorted(raw.time_s, first)) - 1)
        high = int(np.searchsorted(raw.time_s, last, side="right")) + 1
        here = slice(min(low, len(raw.time_s) - 2), high)
        samples = Sampled(
            raw.time_s[here],
            physical_values(units, raw.counts[here], raw.spec),
            raw.saturated[here],
        )
        values[part], gap[part], rail[part] = onto_grid(grid[part], samples, bridge_s)
    return values, gap, rail


def onto_grid(grid: Floats, sampled: Sampled, max_gap_s: float) -> tuple[Floats, Flags, Flags]:
    """Interpolate samples onto times that they cover.

    Args:
        grid: Shape (m,), rising, between the first and the last sample.
        sampled: At least two samples, times rising.
        max_gap_s: Longest spacing that is bridged.

    Returns:
        Values (m, k); where the spacing is longer (m,); where a sample used stood at a rail (m,).
    """
    after = np.clip(np.searchsorted(sampled.time_s, grid), 1, len(sampled.time_s) - 1)
    before = after - 1
    since = grid - np.take(sampled.time_s, before)
    until = np.take(sampled.time_s, after) - grid
    columns = sampled.values.T
    values: Floats = columns.take(after, axis=1)
    first = columns.take(before, axis=1)
    values -= first
    values *= np.clip(since / (since + until), 0.0, 1.0)
    values += first
    rail = np.take(sampled.saturated, before) | np.take(sampled.saturated, after)
    # A row right at a sample has it, however far the next one is.
    gap = (since + until > max_gap_s) & (np.minimum(since, until) > STAMP_S)
    return values.T, gap, rail
