"""Rests at home: where they are, and the heading that they fix.

At home the humerus frame H coincides with the base frame B, so whatever turn about the vertical
the inertial orientation shows there is its heading error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from analysis.runs import parts_of, runs_of
from analysis.settings import AnalysisSettings
from analysis.vectors import angle_between, lengths

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STILL_SMOOTHING_S = 0.1
REST_EDGE_S = 0.1
"""Left out at both ends of a rest when the heading is read: the arm is just arriving or leaving."""
TURNED_RAD = np.deg2rad(3.0)
"""So uncertain a direction is none (a target's default limit); a gyroscope takes 25 min for it."""
BIAS_WINDOW_S = 0.5
QUIET_RATE_RAD_S = np.deg2rad(0.2)
"""SD of the angular rate that is still whatever the quietest moment shows: gyro noise."""


@dataclass(frozen=True, slots=True)
class Turned:
    """A range of samples in which the rig was turned about the vertical, as on its table.

    Attributes:
        start: In the last rest before.
        stop: In the next rest.
        by_rad: By how much, ≥ 0.
    """

    start: int
    stop: int
    by_rad: float


@dataclass(frozen=True, slots=True)
class Heading:
    """The heading error over a stretch of n samples.

    Attributes:
        turned_rad: Shape (n,), to be taken off.
        age_s: Shape (n,), time to the nearest rest; infinite if the stretch has none.
        drift_rad: Largest change between one rest and the next.
        turns: Where it changed by more than a gyroscope drifts.
    """

    turned_rad: Floats
    age_s: Floats
    drift_rad: float
    turns: tuple[Turned, ...]


def home_rests(
    tilt_rad: Floats,
    rate_rad_s: Floats,
    known: Flags,
    fs_hz: float,
    tolerance_rad: float,
    settings: AnalysisSettings,
) -> Flags:
    """Tell where the arm rests at home: near its pose, still, and for long enough, shape (n,).

    A pause on the way is still but not near; a slow pass is near but not still.

    Args:
        tilt_rad: Shape (n,), from home.
        rate_rad_s: Shape (n, 3), bias taken off.
        known: Shape (n,), the inertial unit was heard.
        fs_hz: Rate.
        tolerance_rad: Tilt that still counts as home.
        settings: What counts as still.
    """
    still = still_flags(rate_rad_s, known, fs_hz, settings)
    return lasting(still & (tilt_rad < tolerance_rad), int(settings.rest_min_s * fs_hz))


def still_flags(
    rate_rad_s: Floats, known: Flags, fs_hz: float, settings: AnalysisSettings
) -> Flags:
    """Tell where the arm is still, wherever it is, shape (n,).

    Args:
        rate_rad_s: Shape (n, 3), bias taken off.
        known: Shape (n,), the inertial unit was heard.
        fs_hz: Rate.
        settings: What counts as still.
    """
    width = max(1, int(STILL_SMOOTHING_S * fs_hz))
    speed = np.empty(len(rate_rad_s))
    for part in parts_of(len(speed)):
        speed[part] = lengths(rate_rad_s[part])
    speed = ndimage.uniform_filter1d(speed, width, mode="nearest")
    return np.asarray((speed < np.deg2rad(settings.rest_speed_deg_s)) & known)


def lasting(flags: Flags, least: int) -> Flags:
    """Return *flags* (n,) without the true runs shorter than *least*."""
    long = np.zeros(len(flags), dtype=np.bool_)
    for start, stop in runs_of(flags, min_length=least):
        long[start:stop] = True
    return long


def heading_of(at_home: Flags, turned_rad: Floats, fs_hz: float) -> Heading:
    """Return the heading error of a stretch: read at its rests, linear between them.

    Args:
        at_home: Shape (n,).
        turned_rad: Shape (n,), turn about the vertical; only that at home counts.
        fs_hz: Rate.
    """
    size = len(at_home)
    index, turned = _knots(at_home, turned_rad, int(REST_EDGE_S * fs_hz))
    if not len(index):
        return Heading(np.zeros(size), np.full(size, np.inf), 0.0, ())
    turned = np.unwrap(turned)
    change = np.abs(turned[2::2] - turned[1:-1:2])
    along = np.empty(size)
    for part in parts_of(size):
        along[part] = np.interp(np.arange(part.start, part.stop), index, turned)
    return Heading(
        turned_rad=along,
        age_s=_from_nearest_s(at_home, fs_hz),
        drift_rad=float(change.max(initial=0.0)),
        turns=tuple(
            Turned(int(index[2 * rest + 1]), int(index[2 * rest + 2]), float(change[rest]))
            for rest in np.flatnonzero(change > TURNED_RAD).tolist()
        ),
    )


def still_rate(
    rate_rad_s: Floats,
    specific_force: Floats,
    known: Flags,
    up_in_base: Floats,
    tolerance_rad: float,
    fs_hz: float,
) -> Floats:
    """Return what the gyroscope reads while the arm hangs still: its bias, roughly, shape (3,).

    The filter finds the bias itself, but expects it to be small (2 °/s); an uncalibrated gyro
    may be worse. Zero if the arm never hangs still.

    Args:
        rate_rad_s: Shape (n, 3), in H.
        specific_force: Shape (n, 3), in H: at rest it points up.
        known: Shape (n,).
        up_in_base: Shape (3,).
        tolerance_rad: Tilt that still counts as home.
        fs_hz: Rate.
    """
    size = max(2, int(BIAS_WINDOW_S * fs_hz))
    count = len(rate_rad_s) // size
    if not count:
        return np.zeros(3)
    mean, spread = _windows(rate_rad_s, size)
    up, _ = _windows(specific_force, size)
    whole = known[: count * size].reshape(count, size).all(axis=1)
    hanging = whole & (angle_between(up, up_in_base) < tolerance_rad)
    if not hanging.any():
        return np.zeros(3)
    still = hanging & (spread <= max(QUIET_RATE_RAD_S, 2.0 * float(spread[hanging].min())))
    return np.asarray(np.median(mean[still], axis=0))


def _windows(x: Floats, size: int) -> tuple[Floats, Floats]:
    """Return the means (k, 3) of windows of *size* rows of (n, 3), and their largest SD (k,)."""
    count = len(x) // size
    means, spread = np.empty((count, 3)), np.zeros(count)
    for channel in range(3):
        cut = x[: count * size, channel].reshape(count, size)
        means[:, channel] = cut.mean(axis=1)
        np.maximum(spread, cut.std(axis=1), out=spread)
    return means, spread


def _knots(
    at_home: Flags, turned_rad: Floats, edge: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return middle and heading of each half of each rest."""
    index, turned = [], []
    for start, stop in runs_of(at_home):
        cut = min(edge, (stop - start) // 4)
        middle = (start + stop) // 2
        for first, last in ((start + cut, middle), (middle, stop - cut)):
            if last > first:
                index.append((first + last - 1) / 2)
                # As directions on a circle: a mean of angles breaks at ±π.
                turned.append(np.angle(np.mean(np.exp(1j * turned_rad[first:last]))))
    return np.array(index), np.array(turned)


def _from_nearest_s(at_home: Flags, fs_hz: float) -> Floats:
    """Return the time from each sample to the nearest at home, of which there are, shape (n,)."""
    age_s = np.zeros(len(at_home))
    for start, stop in runs_of(~at_home):
        steps = np.arange(1, stop - start + 1) / fs_hz
        since = steps if start > 0 else np.inf
        until = steps[::-1] if stop < len(at_home) else np.inf
        age_s[start:stop] = np.minimum(since, until)
    return age_s
