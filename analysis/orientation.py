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

from analysis.errors import NotAnalysable
from analysis.home import heading_of, home_rests, still_rate
from analysis.runs import parts_of, runs_of, without_short_gaps
from analysis.settings import AnalysisSettings
from analysis.timebase import Grid
from analysis.vectors import angle_between, cross

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

EARTH_UP = np.array([0.0, 0.0, 1.0])
DISTAL = np.array([0.0, -1.0, 0.0])
MIN_STRETCH_S = 0.1


@dataclass(frozen=True, slots=True)
class Orientation:
    """The humerus in the base frame of a right shoulder; n samples.

    Attributes:
        humerus_to_base: Shape (n, 4), R_BH as quaternions, scalar last.
        known: Shape (n,), there is an orientation, save perhaps its heading.
        angular_rate_rad_s: Shape (n, 3), in H, bias taken off.
        gyro_bias_rad_s: Shape (3,), mean over the recording.
        at_home: Shape (n,), resting at home.
        heading_age_s: Shape (n,), time to the nearest rest that fixes the heading; infinite
            where none does.
        heading_drift_rad: Largest change of heading between two rests.
        home_tilt_rad: Mean tilt from home during the rests: how well home is home.
        home_shift_rad: Largest change of inclination from one rest to the next.
        felt_at_home_m_s2: Size of the mean specific force during the rests.
    """

    humerus_to_base: Floats
    known: Flags
    angular_rate_rad_s: Floats
    gyro_bias_rad_s: Floats
    at_home: Flags
    heading_age_s: Floats
    heading_drift_rad: float
    home_tilt_rad: float
    home_shift_rad: float
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
        moved: Shape (n, 6), specific force and angular rate in H.
        up_in_base: Shape (3,), unit vector up in B.
        home_tolerance_rad: Tilt from home that still counts as home.
        settings: What counts as still, and as a gap.

    Raises:
        NotAnalysable: The arm never rests at home, so the heading cannot be known.
    """
    stretches, quaternions, rate, bias = _inertial_stretches(
        grid, moved, up_in_base, home_tolerance_rad, settings
    )
    known = np.zeros(len(quaternions), dtype=np.bool_)
    for stretch in stretches:
        known[stretch] = True
    up = up_in_humerus(quaternions)
    tilt = np.empty(len(up))
    for part in parts_of(len(up)):
        tilt[part] = angle_between(up[part], up_in_base)
    at_home = home_rests(
        tilt, rate, known & grid.imu_known, grid.fs_hz, home_tolerance_rad, settings
    )
    if not at_home.any():
        raise NotAnalysable(
            "the arm never rests at home (hanging, still), so the direction it faces is not "
            f"known: rest it {settings.rest_min_s:g} s before and after each repetition"
        )
    turned = np.zeros(len(tilt))
    turned[at_home] = twist(
        level(up_in_base) * Rotation.from_quat(quaternions[at_home]), up_in_base
    )
    heading, age_s, drift = np.zeros(len(tilt)), np.full(len(tilt), np.inf), 0.0
    for part in stretches:
        one = heading_of(at_home[part], turned[part], grid.fs_hz)
        heading[part], age_s[part] = one.turned_rad, one.age_s
        drift = max(drift, one.drift_rad)
    return Orientation(
        humerus_to_base=into_base(quaternions, heading, up_in_base),
        known=known,
        angular_rate_rad_s=rate,
        gyro_bias_rad_s=np.asarray(bias),
        at_home=at_home,
        heading_age_s=age_s,
        heading_drift_rad=drift,
        home_tilt_rad=float(tilt[at_home].mean()),
        home_shift_rad=_largest_shift(up, at_home),
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
    return np.stack([2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)], axis=1)


def into_base(humerus_to_earth: Floats, heading_rad: Floats, up_in_base: Floats) -> Floats:
    """Return R_BH from orientations whose heading errs by *heading_rad* (n,).

    All quaternions are of shape (n, 4), scalar last.

    The turn about the vertical of B is that after E has been levelled onto B.
    """
    levelled = level(up_in_base)
    turned_half = Rotation.from_rotvec(np.pi * up_in_base) * levelled
    # A turn by −h after a fixed one is cos(h/2)·fixed − sin(h/2)·(half a turn after it).
    fixed, turned = levelled.as_quat(), turned_half.as_quat()
    found = np.empty_like(humerus_to_earth)
    for part in parts_of(len(found)):
        half = heading_rad[part, np.newaxis] / 2
        to_base = np.cos(half) * fixed - np.sin(half) * turned
        found[part] = quaternion_product(to_base, humerus_to_earth[part])
    return found


def quaternion_product(first: Floats, second: Floats) -> Floats:
    """Return first · second, (n, 4), scalar last: the second rotation acts before the first.

    Hamilton's product; scipy's rotations do the same six times slower on long arrays.
    """
    x1, y1, z1, w1 = first.T
    x2, y2, z2, w2 = second.T
    return np.stack(
        [
            w1 * x2 + x1 * w2 + y1 * z2 - z1 * y2,
            w1 * y2 - x1 * z2 + y1 * w2 + z1 * x2,
            w1 * z2 + x1 * y2 - y1 * x2 + z1 * w2,
            w1 * w2 - x1 * x2 - y1 * y2 - z1 * z2,
        ],
        axis=1,
    )


def distal_axis(humerus_to_base: Rotation) -> Floats:
    """Return where the arm points, in B, shape (n, 3): −Y of H."""
    return np.asarray(humerus_to_base.apply(DISTAL))


def elevation(distal: Floats) -> Floats:
    """Return the angle of distal axes (n, 3) in B from straight down, shape (n,), radians."""
    return np.asarray(np.arctan2(np.hypot(distal[:, 0], distal[:, 2]), -distal[:, 1]))


def plane_of_elevation(distal: Floats, min_elevation_rad: float) -> Floats:
    """Return the azimuth of distal axes (n, 3) in B about Y, shape (n,), radians.

    0 in the frontal plane, +π/2 straight ahead; NaN below *min_elevation_rad*, and as near to
    straight up, where it is not defined.
    """
    plane = np.arctan2(distal[:, 0], distal[:, 2])
    plane[np.hypot(distal[:, 0], distal[:, 2]) < np.sin(min_elevation_rad)] = np.nan
    return np.asarray(plane)


def elevation_speed(humerus_to_base: Rotation, distal: Floats, rate_rad_s: Floats) -> Floats:
    """Return how fast the elevation grows, shape (n,), rad/s.

    Args:
        humerus_to_base: n rotations.
        distal: Shape (n, 3), their `distal_axis`.
        rate_rad_s: Shape (n, 3), angular rate in H.
    """
    change = humerus_to_base.apply(cross(rate_rad_s, DISTAL))
    out = np.hypot(distal[:, 0], distal[:, 2])
    # At the hanging arm every direction is outward: there the speed is that of the tip.
    outward = (distal[:, 0] * change[:, 0] + distal[:, 2] * change[:, 2]) / np.maximum(out, 1e-9)
    outward = np.where(out > 1e-3, outward, np.hypot(change[:, 0], change[:, 2]))
    return np.asarray(-distal[:, 1] * outward + out * change[:, 1])


def level(up_in_base: Floats) -> Rotation:
    """Return the shortest rotation from E to a frame whose up is that of B, (3,)."""
    axis = cross(EARTH_UP, up_in_base)
    length = float(np.linalg.norm(axis))
    if length < 1e-12:  # B's Z is up, or down: any horizontal axis will do
        axis, length = np.array([1.0, 0.0, 0.0]), 1.0
    angle = float(angle_between(up_in_base, EARTH_UP))
    return Rotation.from_rotvec(axis / length * angle)


def twist(rotations: Rotation, axis: Floats) -> Floats:
    """Return the part of each rotation that turns about *axis* (3,), radians, shape (n,)."""
    quaternions = np.atleast_2d(rotations.as_quat())  # scalar last
    return np.asarray(2.0 * np.arctan2(quaternions[:, :3] @ axis, quaternions[:, 3]))


def _inertial_stretches(
    grid: Grid, moved: Floats, up_in_base: Floats, tolerance_rad: float, settings: AnalysisSettings
) -> tuple[list[slice], Floats, Floats, Floats]:
    """Return the stretches without long gaps; quaternions (n, 4), rates (n, 3), mean bias (3,)."""
    rough_bias = still_rate(
        moved[:, 3:], moved[:, :3], grid.imu_known, up_in_base, tolerance_rad, grid.fs_hz
    )
    quaternions = np.tile([0.0, 0.0, 0.0, 1.0], (len(moved), 1))
    rate = moved[:, 3:] - rough_bias
    going_on = without_short_gaps(grid.imu_known, int(settings.orientation_gap_s * grid.fs_hz))
    shortest = max(2, int(MIN_STRETCH_S * grid.fs_hz))
    stretches = [slice(*run) for run in runs_of(going_on, min_length=shortest)]
    biases, lengths = [np.zeros(3)], [0]
    # Rows between the unit's own samples are interpolated and tell the filter nothing new.
    every = max(1, int(grid.fs_hz / grid.imu_rate_hz))
    for part in stretches:
        rows = slice(part.start, part.stop, every)
        one = inertial_orientation(rate[rows], moved[rows, :3], fs_hz=grid.fs_hz / every)
        quaternions[part] = _between(one.humerus_to_earth, every, part.stop - part.start)
        rate[part] -= np.repeat(one.bias_rad_s, every, axis=0)[: part.stop - part.start]
        biases.append(one.bias_rad_s.mean(axis=0))
        lengths.append(part.stop - part.start)
    weights = lengths if sum(lengths) else None
    bias = rough_bias + np.average(biases, axis=0, weights=weights)
    return stretches, quaternions, rate, np.asarray(bias)


def _between(quaternions: Floats, every: int, count: int) -> Floats:
    """Return *count* rows from every so-manieth one (k, 4), neighbours blended; the last is held.

    Neighbours lie a fraction of a degree apart, where a chord is as good as the arc.
    """
    if every == 1:
        return quaternions
    opposite = np.einsum("ij,ij->i", quaternions[1:], quaternions[:-1]) < 0.0
    signs = np.where(np.cumsum(np.concatenate([[False], opposite])) % 2, -1.0, 1.0)
    ends = np.concatenate([quaternions, quaternions[-1:]])
    ends *= np.append(signs, signs[-1])[:, np.newaxis]
    blended = np.empty((len(quaternions), every, 4))
    for step in range(every):
        share = step / every
        blended[:, step] = (1.0 - share) * ends[:-1] + share * ends[1:]
    return blended.reshape(-1, 4)[:count]


def _largest_shift(up: Floats, at_home: Flags) -> float:
    """Return the largest change of the mean vertical (n, 3) from one rest to the next, radians."""
    means = np.array([up[start:stop].mean(axis=0) for start, stop in runs_of(at_home)])
    return float(angle_between(means[1:], means[:-1]).max(initial=0.0))
