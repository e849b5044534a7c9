"""Where the humerus points: inertial orientation, its heading held by the rests at home.

Gyroscope and accelerometer give the orientation in an earth frame E (Z up) whose heading is
arbitrary and drifts slowly. At each rest at home the humerus frame H coincides with the base
frame B, which fixes the heading; between two rests the residual drift is taken out linearly.
Elevation rests on inclination alone. No magnetometer: the rig stands beside steel.

A stretch behind a long gap is oriented by itself (`inertial`), and its heading is unknown until
it has a rest at home of its own.

Two steps: `follow` needs the inertial unit alone; `settle` wants to know when nobody touches the
cell, and that takes the zero, which comes from the rests that the first step found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.bumps import Bump, Doubt, Rests, Settled, find_bumps
from analysis.errors import NotAnalysable
from analysis.home import Turned, heading_of, lasting, still_flags
from analysis.inertial import inertial_stretches, up_in_humerus
from analysis.rests import near_rests, with_hand
from analysis.runs import parts_of, runs_of
from analysis.settings import AnalysisSettings
from analysis.timebase import Grid
from analysis.turns import quaternion_product
from analysis.vectors import angle_between, cross, dot

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

EARTH_UP = np.array([0.0, 0.0, 1.0])


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
        home_tilt_rad: Of the rests before the first bump: how well home is home.
        home_shift_rad: Largest change of inclination from one stay at home to the next, that by
            a bump included.
        home_scatter_rad: Root mean square angle of the stays at home from the vertical that holds.
        bumps: When the base leaned for good.
        doubts: Where the base may not have stood as is reckoned.
        turns: Where it was turned about the vertical.
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
    home_scatter_rad: float
    bumps: tuple[Bump, ...]
    doubts: tuple[Doubt, ...]
    turns: tuple[Turned, ...]
    felt_at_home_m_s2: float


@dataclass(frozen=True, slots=True)
class Followed:
    """The humerus in the earth frame, and where it rests; n samples.

    Attributes:
        humerus_to_earth: Shape (n, 4), quaternions, scalar last; heading arbitrary.
        stretches: Those of which it is known.
        known: Shape (n,), true in them.
        gyro_bias_rad_s: Shape (3,), mean over the recording.
        still: Shape (n,), wherever the arm is.
        at_home: Shape (n,), resting at home if the base stands as described.
        rests: All rests near home.
        felt_at_home_m_s2: Size of the mean specific force at home.
    """

    humerus_to_earth: Floats
    stretches: tuple[slice, ...]
    known: Flags
    gyro_bias_rad_s: Floats
    still: Flags
    at_home: Flags
    rests: Rests
    felt_at_home_m_s2: float


def follow(
    grid: Grid,
    moved: Floats,
    up_in_base: Floats,
    home_tolerance_rad: float,
    settings: AnalysisSettings,
) -> Followed:
    """Follow the humerus in the earth frame over a whole recording.

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
    stretches, quaternions, bias = inertial_stretches(
        grid, moved, up_in_base, home_tolerance_rad, settings
    )
    known = np.zeros(len(quaternions), dtype=np.bool_)
    for stretch in stretches:
        known[stretch] = True
    still = still_flags(moved[:, 3:], known & grid.imu_known, grid.fs_hz, settings)
    tilt = _tilt(quaternions, up_in_base)
    at_home = lasting(still & (tilt < home_tolerance_rad), int(settings.rest_min_s * grid.fs_hz))
    if not at_home.any():
        raise NotAnalysable(
            "the arm never rests at home (hanging, still), so the direction it faces is not "
            f"known: rest it {settings.rest_min_s:g} s before and after each repetition"
        )
    return Followed(
        humerus_to_earth=quaternions,
        stretches=tuple(stretches),
        known=known,
        gyro_bias_rad_s=bias,
        still=still,
        at_home=at_home,
        rests=near_rests(quaternions, known, still, tilt, home_tolerance_rad, grid.fs_hz, settings),
        felt_at_home_m_s2=float(np.linalg.norm(moved[at_home, :3].mean(axis=0))),
    )


def settle(
    found: Followed,
    hand_off: Flags,
    up_in_base: Floats,
    home_tolerance_rad: float,
    settings: AnalysisSettings,
    *,
    fs_hz: float,
) -> Orientation:
    """Turn what was followed in the earth frame, in place, into the base frame.

    Args:
        found: What was followed; not to be used any more.
        hand_off: Shape (n,), nobody touched the cell: only such rests show a bump.
        up_in_base: Shape (3,), unit vector up in B as described.
        home_tolerance_rad: Tilt from home that still counts as home.
        settings: How long a rest lasts.
        fs_hz: Rate.
    """
    rests = with_hand(found.rests, hand_off)
    settled = find_bumps(rests, up_in_base, len(found.known))
    poses = _even_poses(found.stretches, settled.bumps, up_in_base)
    at_home = _at_home(found, settled.bumps, home_tolerance_rad, int(settings.rest_min_s * fs_hz))
    age_s, drift, turns = _head_for_base(found.humerus_to_earth, at_home, poses, fs_hz)
    verticals, hold = _verticals_at_home(rests, settled, at_home)
    scatter, shift = angle_between(verticals, hold), angle_between(verticals[1:], verticals[:-1])
    return Orientation(
        humerus_to_base=found.humerus_to_earth,
        known=found.known,
        gyro_bias_rad_s=found.gyro_bias_rad_s,
        at_home=at_home,
        heading_age_s=age_s,
        heading_drift_rad=drift,
        home_tilt_rad=float(angle_between(settled.verticals[:1], up_in_base)[0]),
        home_shift_rad=float(shift.max(initial=0.0)),
        home_scatter_rad=float(np.sqrt(np.mean(scatter**2))),
        bumps=settled.bumps,
        doubts=settled.doubts,
        turns=turns,
        felt_at_home_m_s2=found.felt_at_home_m_s2,
    )


def orient(
    grid: Grid,
    moved: Floats,
    up_in_base: Floats,
    home_tolerance_rad: float,
    settings: AnalysisSettings,
) -> Orientation:
    """Follow the humerus and settle it where nobody ever touches the cell.

    Arguments and what it raises are those of `follow`.
    """
    found = follow(grid, moved, up_in_base, home_tolerance_rad, settings)
    untouched = np.ones(len(moved), dtype=np.bool_)
    return settle(found, untouched, up_in_base, home_tolerance_rad, settings, fs_hz=grid.fs_hz)


def into_base(humerus_to_earth: Floats, heading_rad: Floats, up_in_base: Floats) -> Floats:
    """Return R_BH from orientations whose heading errs by *heading_rad* (n,).

    All quaternions are of shape (n, 4), scalar last.

    The turn about the vertical of B is that after E has been levelled onto B.
    """
    levelled, turned_half = _levelled(*up_in_base.tolist())
    # A turn by −h after a fixed one is cos(h/2)·fixed − sin(h/2)·(half a turn after it).
    half = heading_rad / 2.0
    to_base = np.outer(levelled, np.cos(half))
    to_base -= np.outer(turned_half, np.sin(half))
    return quaternion_product(to_base.T, humerus_to_earth)


@lru_cache(maxsize=8)  # asked for part by part, and live block by block
def _levelled(*up_in_base: float) -> tuple[Floats, Floats]:
    """Return `level`, and half a turn about the vertical after it, as quaternions."""
    up = np.array(up_in_base)
    levelled = level(up)
    return levelled.as_quat(), (Rotation.from_rotvec(np.pi * up) * levelled).as_quat()


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


def _even_poses(
    stretches: tuple[slice, ...], bumps: tuple[Bump, ...], up_in_base: Floats
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
) -> tuple[Floats, float, tuple[Turned, ...]]:
    """Turn R_EH (n, 4) into R_BH in place; return the heading's age (n,), largest drift, turns."""
    age_s, drift = np.full(len(at_home), np.inf), 0.0
    turns: list[Turned] = []
    for part, up_in_base in poses:
        levelled = level(up_in_base).as_quat()
        turned = np.zeros(part.stop - part.start)
        for start, stop in runs_of(at_home[part]):
            rest = quaternion_product(levelled, quaternions[part][start:stop])
            turned[start:stop] = twist(rest, up_in_base)
        heading = heading_of(at_home[part], turned, fs_hz)
        age_s[part] = heading.age_s
        drift = max(drift, heading.drift_rad)
        turns += [
            replace(turn, start=turn.start + part.start, stop=turn.stop + part.start)
            for turn in heading.turns
        ]
        for piece in parts_of(len(turned)):
            rows = quaternions[part][piece]
            rows[:] = into_base(rows, heading.turned_rad[piece], up_in_base)
    return age_s, drift, tuple(turns)


def _tilt(humerus_to_earth: Floats, up_in_base: Floats) -> Floats:
    """Return how far the arm is turned away from home, its heading apart, shape (n,)."""
    tilt = np.empty(len(humerus_to_earth))
    for part in parts_of(len(tilt)):
        tilt[part] = angle_between(up_in_humerus(humerus_to_earth[part]), up_in_base)
    return tilt


def _verticals_at_home(rests: Rests, settled: Settled, at_home: Flags) -> tuple[Floats, Floats]:
    """Return the vertical in H of each stay at home, and that which holds there, each (m, 3).

    The median of its rests: at the ends the arm is just arriving or leaving.
    """
    near = np.flatnonzero(at_home[(rests.starts + rests.stops) // 2])
    near = near if len(near) else np.arange(len(rests.starts))
    poses = np.searchsorted([bump.at for bump in settled.bumps], rests.starts[near], side="right")
    changes = np.diff(rests.stays[near]) + np.diff(poses)
    stays = np.split(near, np.flatnonzero(changes) + 1)
    medians = [np.median(rests.verticals[stay], axis=0) for stay in stays]
    return np.array(medians), np.array([settled.verticals[stay[0]] for stay in stays])


def _at_home(found: Followed, bumps: tuple[Bump, ...], tolerance_rad: float, least: int) -> Flags:
    """Return where the arm rests at home as the base stands, shape (n,)."""
    if not bumps:
        return found.at_home
    at_home = found.at_home.copy()
    for number, bump in enumerate(bumps):
        stop = bumps[number + 1].at if number + 1 < len(bumps) else len(at_home)
        here = slice(bump.at, stop)
        tilt = _tilt(found.humerus_to_earth[here], bump.up_in_base)
        at_home[here] = lasting(found.still[here] & (tilt < tolerance_rad), least)
    return at_home
