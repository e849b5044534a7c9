"""The orientation of `orientation`, causally: heading held from the last rest at home."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from vqf import VQF

from analysis.filters import LiveLowPass, LowPass
from analysis.orientation import level, tilt_from_home, twist
from analysis.runs import runs_of
from analysis.settings import AnalysisSettings

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LiveOrientation:
    """A block of n samples.

    Attributes:
        humerus_to_base: R_BH, n rotations; meaningless in heading where *heading_age_s* is NaN.
        angular_rate_rad_s: Shape (n, 3), in H, bias taken off, not filtered.
        at_home: Shape (n,).
        heading_age_s: Shape (n,), since the last home rest; NaN before the first.
    """

    humerus_to_base: Rotation
    angular_rate_rad_s: Floats
    at_home: Flags
    heading_age_s: Floats


class OrientationTracker:
    """Follows the humerus block by block; cutting anywhere changes nothing."""

    def __init__(
        self,
        up_in_base: Floats,
        home_tolerance_rad: float,
        settings: AnalysisSettings,
        *,
        fs_hz: float,
    ) -> None:
        self._filter = VQF(1.0 / fs_hz)
        self._fs_hz = fs_hz
        self._up = up_in_base
        self._level = level(up_in_base)
        self._tolerance = home_tolerance_rad
        self._slow = np.deg2rad(settings.rest_speed_deg_s)
        self._needed = int(settings.rest_min_s * fs_hz)
        self._smoother = LiveLowPass(LowPass(cutoff_hz=settings.cutoff_hz), fs_hz=fs_hz)
        self._still_for = 0
        self._sum = 0j
        self._heading = np.nan
        self._age = np.nan

    def __call__(self, specific_force_m_s2: Floats, angular_rate_rad_s: Floats) -> LiveOrientation:
        """Take a block of inertial samples, each (n, 3), in H, finite and without gaps."""
        found = self._filter.updateBatchFullState(
            np.ascontiguousarray(angular_rate_rad_s), np.ascontiguousarray(specific_force_m_s2)
        )
        earth = Rotation.from_quat(np.roll(found["quat6D"], -1, axis=1))  # its scalar comes first
        rate = angular_rate_rad_s - found["bias"]
        speed = np.linalg.norm(self._smoother(rate), axis=1)
        still = (speed < self._slow) & (tilt_from_home(earth, self._up) < self._tolerance)
        levelled = self._level * earth
        at_home, heading, age = self._follow(still, twist(levelled, self._up))
        turn = Rotation.from_rotvec(-np.nan_to_num(heading)[:, np.newaxis] * self._up)
        return LiveOrientation(turn * levelled, rate, at_home, age)

    def _follow(self, still: Flags, turned_rad: Floats) -> tuple[Flags, Floats, Floats]:
        """Return at home, heading and its age for every sample of a block."""
        size = len(still)
        at_home = np.zeros(size, dtype=np.bool_)
        heading = np.full(size, self._heading)
        age = self._age + np.arange(1, size + 1) / self._fs_hz
        if not still[:1].any():
            self._still_for, self._sum = 0, 0j
        for start, stop in runs_of(still):
            if start > 0:
                self._still_for, self._sum = 0, 0j
            # The mean of the rest so far: the longer it lasts the better it is known.
            sums = self._sum + np.cumsum(np.exp(1j * turned_rad[start:stop]))
            lasted = self._still_for + np.arange(1, stop - start + 1)
            enough = lasted >= self._needed
            at_home[start:stop] = enough
            heading[start:stop][enough] = np.angle(sums)[enough]
            age[start:stop][enough] = 0.0
            self._still_for, self._sum = int(lasted[-1]), complex(sums[-1])
            if enough[-1]:
                heading[stop:] = heading[stop - 1]
                age[stop:] = np.arange(1, size - stop + 1) / self._fs_hz
        if size and not still[-1]:
            self._still_for, self._sum = 0, 0j
        if size:
            self._heading, self._age = float(heading[-1]), float(age[-1])
        return at_home, heading, age
