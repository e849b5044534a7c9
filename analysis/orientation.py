"""Where the humerus points: inertial orientation, its heading held by the rests at home.

Gyroscope and accelerometer give the orientation in an earth frame E (Z up) whose heading is
arbitrary and drifts slowly. At each rest at home the humerus frame H coincides with the base
frame B, which fixes the heading; between two rests the residual drift is taken out linearly.
Elevation rests on inclination alone. No magnetometer: the rig stands beside steel.

A gap of the inertial samples too long to be bridged ends a stretch: the next one is oriented by
itself, and its heading is unknown until it has a rest at home of its own.

The filter is VQF (Laidig & Seel 2023, Information Fusion 91:187, doi:10.1016/j.inffus.2022.10.014).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from vqf import offlineVQF

from analysis.bumps import Bump, find_bumps
from analysis.errors import NotAnalysable
from analysis.home import heading_of, home_rests, still_rate
from analysis.runs import parts_of, runs_of, without_short_gaps
from analysis.settings import AnalysisSettings
from analysis.timebase import Grid
from analysis.turns import quaternion_product
from analysis.vectors import angle_between, cross, dot

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

EARTH_UP = np.array([0.0, 0.0, 1.0])
MIN_STRETCH_S = 0.1
FILTER_RATE_HZ = 200.0
"""The filter is given means of the samples at this rate or a little more, if they come faster: an
arm turns by half a degree meanwhile, and the mean rate turns it as far as the single ones do."""


@dataclass(frozen=True, slots=True)
class Orientation:
    """The humerus in the base frame of a right shoulder; n samples.

    Attributes:
        humerus_to_base: Shape (n, 4), R_BH as quaternions, scalar last.
        known: Shape (n,), there is an orientation, save perhaps its heading.
        gyro_bias_rad_s: Shape (3,), mean over the recording.
        at_home: Shape (n,), resting at home.
        heading_age_s: Shape (n,), time to the nearest rest that fixes the heading; infinite
            where none does.
        heading_drift_rad: Largest change of heading between two rests.
        home_tilt_rad: Mean tilt from home during the rests: how well home is home.
        home_shift_rad: Largest change of inclination from one rest to the next.
        bumps: When the base leaned for good.
        felt_at_home_m_s2: Size of the mean specific force during the rests.
    """

    humerus_to_base: Floats
    known: Flags
    gyro_bias_rad_s: Floats
    at_home: Flags
    heading_age_s: Floats
    heading_drift_rad: float
    home_tilt_rad: float
    home_shift_rad: float
    bumps: tuple[Bump, ...]
    felt_at_home_m_s2: float


@dataclass(frozen=True, slots=True)
class Inertial:
    """What the filter makes of a stretch of n samples.

    Attributes:
        humerus_to_earth: Shape (n, 4), quaternions, scalar last; heading arbitrary.
        bias_rad_s: Shape (n, 3), of the gyroscope.
    """

    humerus_to_earth: Floats
    bias_rad_s: Floats


def orient(
    grid: Grid,
    moved: Floats,
    up_in_base: Floats,
    home_tolerance_rad: float,
    settings: AnalysisSettings,
) -> Orientation:
    """Return the orientation of the humerus over a whole recording.

    Args:
        grid: Says where the inertial unit was heard.
        moved: Shape (n, 6), specific force and angular rate in H. The bias of the gyroscope is
            taken off it, in place: an hour's samples are too many to be held twice.
        up_in_base: Shape (3,), unit vector up in B.
        home_tolerance_rad: Tilt from home that still counts as home.
        settings: What counts as still, and as a gap.

    Raises:
        NotAnalysable: The arm never rests at home, so the heading cannot be known.
    """
    stretches, quaternions, bias = _inertial_stretches(
        grid, moved, up_in_base, home_tolerance_rad, settings
    )
    known = np.zeros(len(quaternions), dtype=np.bool_)
    for stretch in stretches:
        known[stretch] = True
    tilt = np.empty(len(quaternions))
    for part in parts_of(len(tilt)):
        tilt[part] = angle_between(up_in_humerus(quaternions[part]), up_in_base)
    at_home = home_rests(
        tilt, moved[:, 3:], known & grid.imu_known, grid.fs_hz, home_tolerance_rad, settings
    )
    if not at_home.any():
        raise NotAnalysable(
            "the arm never rests at home (hanging, still), so the direction it faces is not "
            f"known: rest it {settings.rest_min_s:g} s before and after each repetition"
        )
    rests = list(runs_of(at_home))
    ups = _vertical_at_rests(quaternions, rests)
    bumps = find_bumps(ups, rests, up_in_base)
    age_s, drift = _head_for_base(
        quaternions, at_home, _even_poses(stretches, bumps, up_in_base), grid.fs_hz
    )
    return Orientation(
        humerus_to_base=quaternions,
        known=known,
        gyro_bias_rad_s=bias,
        at_home=at_home,
        heading_age_s=age_s,
        heading_drift_rad=drift,
        home_tilt_rad=float(tilt[at_home].mean()),
        home_shift_rad=float(angle_between(ups[1:], ups[:-1]).max(initial=0.0)),
        bumps=bumps,
        felt_at_home_m_s2=float(np.linalg.norm(moved[at_home, :3].mean(axis=0))),
    )


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


def into_base(humerus_to_earth: Floats, heading_rad: Floats, up_in_base: Floats) -> Floats:
    """Return R_BH from orientations whose heading errs by *heading_rad* (n,).

    All quaternions are of shape (n, 4), scalar last.

    The turn about the vertical of B is that after E has been levelled onto B.
    """
    levelled = level(up_in_base)
    turned_half = Rotation.from_rotvec(np.pi * up_in_base) * levelled
    # A turn by −h after a fixed one is cos(h/2)·fixed − sin(h/2)·(half a turn after it).
    half = heading_rad / 2.0
    to_base = np.outer(levelled.as_quat(), np.cos(half))
    to_base -= np.outer(turned_half.as_quat(), np.sin(half))
    return quaternion_product(to_base.T, humerus_to_earth)


def level(up_in_base: Floats) -> Rotation:
    """Return the shortest rotation from E to a frame whose up is that of B, (3,)."""
    axis = cross(EARTH_UP, up_in_base)
    length = float(np.linalg.norm(axis))
    if length < 1e-12:  # B's Z is up, or down: any horizontal axis will do
        axis, length = np.array([1.0, 0.0, 0.0]), 1.0
    angle = float(angle_between(up_in_base, EARTH_UP))
    return Rotation.from_rotvec(axis / length * angle)


def twist(quaternions: Floats, axis: Floats) -> Floats:
    """Return the part of each rotation that turns about *axis* (3,), radians, shape (n,).

    Args:
        quaternions: Shape (n, 4), scalar last.
        axis: Unit vector.
    """
    return np.asarray(2.0 * np.arctan2(dot(quaternions, axis), quaternions[:, 3]))


def _inertial_stretches(
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
        for step in range(every):
            rows = rate[part][step::every]
            rows -= one.bias_rad_s[: len(rows)]
        biases.append(one.bias_rad_s.mean(axis=0))
        lengths.append(part.stop - part.start)
    weights = lengths if sum(lengths) else None
    bias = rough_bias + np.average(biases, axis=0, weights=weights)
    return stretches, quaternions, np.asarray(bias)


def _filtered_by_blocks(rate: Floats, force: Floats, every: int, fs_hz: float) -> Inertial:
    """Filter means of *every* rows; each orientation is that at the last of its rows."""
    turned = block_means(rate, every)
    # The rates turn the arm up to the last row: the force that belongs to it lies around that row.
    felt = block_means(force[every // 2 :], every)
    if len(felt) < len(turned):
        felt = np.concatenate([felt, force[-1:]])
    return inertial_orientation(turned, felt, fs_hz=fs_hz / every)


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
    for step in range(every):
        share = (step + 1) / every
        rows = out[step::every]
        rows[:] = (1.0 - share) * ends[: len(rows)] + share * ends[1 : len(rows) + 1]


def _even_poses(
    stretches: list[slice], bumps: tuple[Bump, ...], up_in_base: Floats
) -> list[tuple[slice, Floats]]:
    """Return the stretches cut at the bumps, each with the vertical in B (3,) that holds there."""
    starts = [0, *(bump.at for bump in bumps)]
    ups = [up_in_base, *(bump.up_in_base for bump in bumps)]
    stops = [*starts[1:], None]
    return [
        (slice(max(part.start, start), part.stop if stop is None else min(part.stop, stop)), up)
        for part in stretches
        for start, stop, up in zip(starts, stops, ups, strict=True)
        if start < part.stop and (stop is None or stop > part.start)
    ]


def _head_for_base(
    quaternions: Floats, at_home: Flags, poses: list[tuple[slice, Floats]], fs_hz: float
) -> tuple[Floats, float]:
    """Turn R_EH (n, 4) into R_BH in place; return the heading's age (n,) and largest drift."""
    age_s, drift = np.full(len(at_home), np.inf), 0.0
    for part, up_in_base in poses:
        levelled = level(up_in_base).as_quat()
        turned = np.zeros(part.stop - part.start)
        for start, stop in runs_of(at_home[part]):
            rest = quaternion_product(levelled, quaternions[part][start:stop])
            turned[start:stop] = twist(rest, up_in_base)
        heading = heading_of(at_home[part], turned, fs_hz)
        age_s[part] = heading.age_s
        drift = max(drift, heading.drift_rad)
        for piece in parts_of(len(turned)):
            rows = quaternions[part][piece]
            rows[:] = into_base(rows, heading.turned_rad[piece], up_in_base)
    return age_s, drift


def _vertical_at_rests(humerus_to_earth: Floats, rests: list[tuple[int, int]]) -> Floats:
    """Return the mean vertical in H of each rest, shape (rests, 3)."""
    return np.array(
        [up_in_humerus(humerus_to_earth[start:stop]).mean(axis=0) for start, stop in rests]
    )
