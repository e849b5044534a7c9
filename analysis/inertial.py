"""Gyroscope and accelerometer to an orientation in an earth frame E: Z up, heading arbitrary.

A gap of the inertial samples too long to be bridged ends a stretch: the next one is oriented by
itself.

The filter is VQF (Laidig & Seel 2023, Information Fusion 91:187, doi:10.1016/j.inffus.2022.10.014).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from vqf import offlineVQF

from analysis.home import still_rate
from analysis.runs import parts_of, runs_of, without_short_gaps
from analysis.settings import AnalysisSettings
from analysis.timebase import Grid

Floats = NDArray[np.float64]

MIN_STRETCH_S = 0.1
FILTER_RATE_HZ = 200.0
"""The filter is given means of the samples at this rate or a little more, if they come faster: an
arm turns by half a degree meanwhile, and the mean rate turns it as far as the single ones do."""


@dataclass(frozen=True, slots=True)
class Inertial:
    """What the filter makes of a stretch of n samples.

    Attributes:
        humerus_to_earth: Shape (n, 4), quaternions, scalar last; heading arbitrary.
        bias_rad_s: Shape (n, 3), of the gyroscope.
    """

    humerus_to_earth: Floats
    bias_rad_s: Floats


def inertial_stretches(
    grid: Grid, moved: Floats, up_in_base: Floats, tolerance_rad: float, settings: AnalysisSettings
) -> tuple[list[slice], Floats, Floats]:
    """Return the stretches without long gaps; quaternions (n, 4); the mean bias taken off, (3,)."""
    rate = moved[:, 3:]
    rough_bias = still_rate(
        rate, moved[:, :3], grid.imu_known, up_in_base, tolerance_rad, grid.fs_hz
    )
    rate -= rough_bias
    quaternions = np.zeros((4, len(moved))).T
    quaternions[:, 3] = 1.0
    going_on = without_short_gaps(grid.imu_known, int(settings.orientation_gap_s * grid.fs_hz))
    shortest = max(2, int(MIN_STRETCH_S * grid.fs_hz))
    stretches = [slice(*run) for run in runs_of(going_on, min_length=shortest)]
    biases, lengths = [np.zeros(3)], [0]
    # Rows between the unit's own samples are interpolated and tell the filter nothing new.
    every = max(1, int(grid.fs_hz / min(grid.imu_rate_hz, FILTER_RATE_HZ)))
    for part in stretches:
        one = _filtered_by_blocks(rate[part], moved[part, :3], every, grid.fs_hz)
        _spread(one.humerus_to_earth, every, quaternions[part])
        for column, bias_rad_s in zip(rate[part].T, one.bias_rad_s.T, strict=True):
            for few in parts_of(len(bias_rad_s)):
                rows = column[few.start * every : few.stop * every]
                rows -= np.repeat(bias_rad_s[few], every)[: len(rows)]
        biases.append(one.bias_rad_s.mean(axis=0))
        lengths.append(part.stop - part.start)
    weights = lengths if sum(lengths) else None
    bias = rough_bias + np.average(biases, axis=0, weights=weights)
    return stretches, quaternions, np.asarray(bias)


def inertial_orientation(
    angular_rate_rad_s: Floats, specific_force_m_s2: Floats, *, fs_hz: float
) -> Inertial:
    """Return the orientation in an earth frame with Z up, looking forward and back.

    Args:
        angular_rate_rad_s: Shape (n, 3).
        specific_force_m_s2: Shape (n, 3), +g upward at rest.
        fs_hz: Sampling rate.
    """
    found = offlineVQF(
        np.ascontiguousarray(angular_rate_rad_s),
        np.ascontiguousarray(specific_force_m_s2),
        None,
        1.0 / fs_hz,
    )
    return Inertial(
        humerus_to_earth=np.roll(found["quat6D"], -1, axis=1),  # its scalar comes first
        bias_rad_s=found["bias"],
    )


def up_in_humerus(humerus_to_earth: Floats) -> Floats:
    """Return the vertical as H has it, shape (n, 3), from quaternions (n, 4), scalar last.

    It does not depend on the heading.
    """
    x, y, z, w = humerus_to_earth.T
    return np.array([2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)]).T


def block_means(x: Floats, every: int) -> Floats:
    """Return the means of *every* rows after the other, (⌈n/every⌉, k); the last may have fewer."""
    if every == 1:
        return x
    whole = len(x) // every
    total = x[: whole * every : every].copy()
    for step in range(1, every):
        total += x[step : whole * every : every]
    total /= every
    rest = x[whole * every :]
    return np.concatenate([total, rest.mean(axis=0, keepdims=True)]) if len(rest) else total


def _filtered_by_blocks(rate: Floats, force: Floats, every: int, fs_hz: float) -> Inertial:
    """Filter means of *every* rows; each orientation is that at the last of its rows."""
    turned = block_means(rate, every)
    # The rates turn the arm up to the last row: the force that belongs to it lies around that row.
    felt = block_means(force[every // 2 :], every)
    if len(felt) < len(turned):
        felt = np.concatenate([felt, force[-1:]])
    return inertial_orientation(turned, felt, fs_hz=fs_hz / every)


def _spread(quaternions: Floats, every: int, out: Floats) -> None:
    """Fill *out* (n, 4) between quaternions (k, 4), which belong to every so-manieth row's end.

    Neighbours lie a fraction of a degree apart, where a chord is as good as the arc.
    """
    if every == 1:
        out[:] = quaternions
        return
    opposite = np.einsum("ij,ij->i", quaternions[1:], quaternions[:-1]) < 0.0
    signs = np.where(np.cumsum(np.concatenate([[False], opposite])) % 2, -1.0, 1.0)
    ends = quaternions * signs[:, np.newaxis]
    # The mean rate of the first rows brought it to the first one: back by as much.
    before = 2.0 * ends[:1] - ends[1:2] if len(ends) > 1 else ends
    ends = np.concatenate([before, ends])
    share = np.arange(1, every + 1) / every
    for column, knots in zip(out.T, np.ascontiguousarray(ends.T), strict=True):
        for few in parts_of(len(quaternions)):
            begin, end = knots[few, np.newaxis], knots[few.start + 1 : few.stop + 1, np.newaxis]
            rows = column[few.start * every : few.stop * every]
            rows[:] = ((1.0 - share) * begin + share * end).ravel()[: len(rows)]
