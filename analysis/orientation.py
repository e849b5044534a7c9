"""Where the humerus points: inertial orientation, its heading held by the rests at home.

Gyroscope and accelerometer give the orientation in an earth frame E (Z up) whose heading is
arbitrary and drifts slowly. At each rest at home the humerus frame H coincides with the base
frame B, which fixes the heading; between two rests the residual drift is taken out linearly.
Elevation rests on inclination alone. No magnetometer: the rig stands beside steel.

The filter is VQF (Laidig & Seel 2023, Information Fusion 91:187, doi:10.1016/j.inffus.2022.10.014).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from vqf import offlineVQF

from analysis.errors import NotAnalysable
from analysis.runs import runs_of
from analysis.settings import AnalysisSettings
from analysis.timebase import EvenSamples

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

EARTH_UP = np.array([0.0, 0.0, 1.0])
DISTAL = np.array([0.0, -1.0, 0.0])
BASE_DOWN = np.array([0.0, -1.0, 0.0])
STILL_SMOOTHING_S = 0.1


@dataclass(frozen=True, slots=True)
class Orientation:
    """The humerus in the base frame of a right shoulder; n samples.

    Attributes:
        humerus_to_base: R_BH, n rotations.
        angular_rate_rad_s: Shape (n, 3), in H, bias taken off.
        gyro_bias_rad_s: Shape (3,), mean over the recording.
        at_home: Shape (n,), resting at home.
        heading_age_s: Shape (n,), time to the nearest rest that fixes the heading.
        heading_drift_rad: Largest change of heading between two rests.
        home_tilt_rad: Mean tilt from home during the rests: how well home is home.
    """

    humerus_to_base: Rotation
    angular_rate_rad_s: Floats
    gyro_bias_rad_s: Floats
    at_home: Flags
    heading_age_s: Floats
    heading_drift_rad: float
    home_tilt_rad: float


def orient(
    samples: EvenSamples, up_in_base: Floats, home_tolerance_rad: float, settings: AnalysisSettings
) -> Orientation:
    """Return the orientation of the humerus over a whole recording.

    Args:
        samples: Inertial samples on the grid.
        up_in_base: Shape (3,), unit vector up in B.
        home_tolerance_rad: Tilt from home that still counts as home.
        settings: What counts as still.

    Raises:
        NotAnalysable: The arm never rests at home, so the heading cannot be known.
    """
    earth, rate, bias = _inertial(samples)
    tilt = tilt_from_home(earth, up_in_base)
    at_home = home_rests(tilt, rate, samples.imu_known, samples.fs_hz, home_tolerance_rad, settings)
    if not at_home.any():
        raise NotAnalysable(
            "the arm never rests at home (hanging, still), so the direction it faces is not "
            f"known: rest it {settings.rest_min_s:g} s before and after each repetition"
        )
    levelled = level(up_in_base) * earth
    heading, age_s, drift = _heading(twist(levelled, up_in_base), at_home, samples)
    base = Rotation.from_rotvec(-heading[:, np.newaxis] * up_in_base) * levelled
    return Orientation(
        humerus_to_base=base,
        angular_rate_rad_s=rate,
        gyro_bias_rad_s=bias,
        at_home=at_home,
        heading_age_s=age_s,
        heading_drift_rad=drift,
        home_tilt_rad=float(tilt[at_home].mean()),
    )


def tilt_from_home(humerus_to_earth: Rotation, up_in_base: Floats) -> Floats:
    """Return the angle between up as H has it and up as it is at home, shape (n,), radians."""
    up = humerus_to_earth.inv().apply(EARTH_UP)
    return angle_between(up, up_in_base)


def home_rests(
    tilt_rad: Floats,
    rate_rad_s: Floats,
    known: Flags,
    fs_hz: float,
    tolerance_rad: float,
    settings: AnalysisSettings,
) -> Flags:
    """Tell where the arm rests at home: near its pose, still, and for long enough.

    A pause on the way is still but not near; a slow pass is near but not still.
    """
    width = max(1, int(STILL_SMOOTHING_S * fs_hz))
    speed = np.convolve(np.linalg.norm(rate_rad_s, axis=1), np.ones(width) / width, mode="same")
    still = (speed < np.deg2rad(settings.rest_speed_deg_s)) & (tilt_rad < tolerance_rad) & known
    at_home = np.zeros(len(still), dtype=np.bool_)
    for start, stop in runs_of(still, min_length=int(settings.rest_min_s * fs_hz)):
        at_home[start:stop] = True
    return at_home


def elevation(humerus_to_base: Rotation) -> Floats:
    """Return the angle between the distal axis and straight down, shape (n,), radians."""
    return angle_between(humerus_to_base.apply(DISTAL), BASE_DOWN)


def plane_of_elevation(humerus_to_base: Rotation, min_elevation_rad: float) -> Floats:
    """Return the azimuth of the distal axis about Y, shape (n,), radians.

    0 in the frontal plane, +π/2 straight ahead; NaN below *min_elevation_rad*, and as near to
    straight up, where it is not defined.
    """
    distal = humerus_to_base.apply(DISTAL)
    plane = np.arctan2(distal[:, 0], distal[:, 2])
    plane[np.hypot(distal[:, 0], distal[:, 2]) < np.sin(min_elevation_rad)] = np.nan
    return np.asarray(plane)


def elevation_speed(humerus_to_base: Rotation, rate_rad_s: Floats) -> Floats:
    """Return how fast the elevation grows, shape (n,), rad/s, from the angular rate in H."""
    distal = humerus_to_base.apply(DISTAL)
    change = humerus_to_base.apply(np.cross(rate_rad_s, DISTAL))
    out = np.hypot(distal[:, 0], distal[:, 2])
    # At the hanging arm every direction is outward: there the speed is that of the tip.
    outward = (distal[:, 0] * change[:, 0] + distal[:, 2] * change[:, 2]) / np.maximum(out, 1e-9)
    outward = np.where(out > 1e-3, outward, np.hypot(change[:, 0], change[:, 2]))
    return np.asarray(-distal[:, 1] * outward + out * change[:, 1])


def angle_between(vectors: Floats, other: Floats) -> Floats:
    """Return angles between (n, 3) and (3,) or (n, 3), radians, exact also near 0 and π."""
    cross = np.linalg.norm(np.cross(vectors, other), axis=-1)
    return np.asarray(np.arctan2(cross, np.sum(vectors * other, axis=-1)))


def level(up_in_base: Floats) -> Rotation:
    """Return a rotation from E to a frame whose up is that of B; its heading is arbitrary."""
    rotation, _ = Rotation.align_vectors(up_in_base[np.newaxis], EARTH_UP[np.newaxis])
    return rotation


def twist(rotations: Rotation, axis: Floats) -> Floats:
    """Return the part of each rotation that turns about *axis* (3,), radians, shape (n,)."""
    quaternions = np.atleast_2d(rotations.as_quat())  # scalar last
    return np.asarray(2.0 * np.arctan2(quaternions[:, :3] @ axis, quaternions[:, 3]))


def _inertial(samples: EvenSamples) -> tuple[Rotation, Floats, Floats]:
    """Return H to E, the rate without bias, and the mean bias."""
    found = offlineVQF(
        np.ascontiguousarray(samples.angular_rate_rad_s),
        np.ascontiguousarray(samples.specific_force_m_s2),
        None,
        1.0 / samples.fs_hz,
    )
    earth = Rotation.from_quat(np.roll(found["quat6D"], -1, axis=1))  # its scalar comes first
    rate = samples.angular_rate_rad_s - found["bias"]
    return earth, rate, np.asarray(found["bias"].mean(axis=0))


def _heading(
    turned_rad: Floats, at_home: Flags, samples: EvenSamples
) -> tuple[Floats, Floats, float]:
    """Return heading for every sample, the age of its fix, and the largest drift."""
    times, headings = [], []
    for start, stop in runs_of(at_home):
        middle = (start + stop) // 2
        for part in (slice(start, middle), slice(middle, stop)):
            times.append(samples.time_s[part].mean())
            # As directions on a circle: a mean of angles breaks at ±π.
            headings.append(np.angle(np.mean(np.exp(1j * turned_rad[part]))))
    knots = np.unwrap(np.array(headings))
    heading = np.interp(samples.time_s, times, knots)
    drift = float(np.abs(knots[2::2] - knots[1:-1:2]).max(initial=0.0))
    return heading, _age_s(at_home, samples.fs_hz), drift


def _age_s(at_home: Flags, fs_hz: float) -> Floats:
    """Return the time from each sample to the nearest home rest, shape (n,)."""
    index = np.arange(len(at_home))
    homes = np.flatnonzero(at_home)
    after = np.clip(np.searchsorted(homes, index), 0, len(homes) - 1)
    before = np.clip(after - 1, 0, len(homes) - 1)
    nearest = np.minimum(np.abs(homes[after] - index), np.abs(homes[before] - index))
    return np.asarray(nearest / fs_hz)
