"""The orientation of `orientation`, causally: heading held from the last rest at home.

Two steps, as there: `OrientationTracker.follow` needs the inertial unit alone, `settle` wants to
know when nobody touches the cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from vqf import VQF

from analysis.filters import LiveLowPass, LowPass
from analysis.home import BIAS_WINDOW_S, still_rate
from analysis.inertial import up_in_humerus
from analysis.live_rests import RestFollower
from analysis.orientation import into_base, level, twist
from analysis.runs import run_lengths, runs_of
from analysis.settings import AnalysisSettings
from analysis.turns import quaternion_product
from analysis.vectors import angle_between, lengths

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LiveFollowed:
    """A block of n samples in the earth frame.

    Attributes:
        humerus_to_earth: Shape (n, 4), quaternions, scalar last.
        known: Shape (n,), there is an orientation.
        angular_rate_rad_s: Shape (n, 3), in H, bias taken off, not filtered.
        up: Shape (n, 3), the vertical in H.
        still: Shape (n,), the arm does not move, wherever it is.
        anew: Shape (n,), the heading of what was before means nothing from here on.
        at_home: Shape (n,), at rest at home as the base stood when the block began.
    """

    humerus_to_earth: Floats
    known: Flags
    angular_rate_rad_s: Floats
    up: Floats
    still: Flags
    anew: Flags
    at_home: Flags


@dataclass(frozen=True, slots=True)
class LiveOrientation:
    """A block of n samples.

    Attributes:
        humerus_to_base: Shape (n, 4), R_BH as quaternions, scalar last.
        known: Shape (n,), there is an orientation, save perhaps its heading.
        at_home: Shape (n,).
        heading_age_s: Shape (n,), since the last home rest; infinite before the first.
        unsettled: Shape (n,), the base may have moved since the arm was surely at home.
    """

    humerus_to_base: Floats
    known: Flags
    at_home: Flags
    heading_age_s: Floats
    unsettled: Flags


class OrientationTracker:
    """Follows the humerus block by block; cutting anywhere changes nothing.

    Args:
        up_in_base: Shape (3,), unit vector up in B.
        home_tolerance_rad: Tilt from home that still counts as home.
        settings: What counts as still, and as a gap.
        fs_hz: Rate.

    Attributes:
        rests: What the rests at home say so far.
    """

    def __init__(
        self,
        up_in_base: Floats,
        home_tolerance_rad: float,
        settings: AnalysisSettings,
        *,
        fs_hz: float,
    ) -> None:
        self._fs_hz = fs_hz
        self._up = up_in_base
        self._level = level(up_in_base).as_quat()
        self._described = up_in_base
        self._tolerance = home_tolerance_rad
        self._slow = np.deg2rad(settings.rest_speed_deg_s)
        self._needed = int(settings.rest_min_s * fs_hz)
        self._max_gap = int(settings.orientation_gap_s * fs_hz)
        self._smoother = LiveLowPass(LowPass(cutoff_hz=settings.cutoff_hz), fs_hz=fs_hz)
        self._window = max(2, int(BIAS_WINDOW_S * fs_hz))
        self._opening: list[Floats] | None = []
        self._rough_bias = np.zeros(3)
        self._filter = VQF(1.0 / fs_hz)
        self._unheard = 0
        self._lost = False
        self._anew = False
        self._rested = 0
        self.rests = RestFollower(up_in_base, home_tolerance_rad, settings, fs_hz=fs_hz)
        self._rest = _Rest()
        self._heading = 0.0
        self._age_s = np.inf

    def follow(
        self, specific_force_m_s2: Floats, angular_rate_rad_s: Floats, heard: Flags
    ) -> LiveFollowed:
        """Take a block of inertial samples, and `settle` it before the next one.

        Args:
            specific_force_m_s2: Shape (n, 3), in H, finite.
            angular_rate_rad_s: Shape (n, 3), in H, finite.
            heard: Shape (n,), false where they are interpolated across a gap, or saturated.
        """
        unheard = run_lengths(~heard, self._unheard)
        if len(unheard):
            self._unheard = int(unheard[-1])
        lost = unheard > self._max_gap
        pieces = []
        # Cut where the orientation is lost or found again, and at the opening's windows.
        for start, stop in _pieces(lost):
            if lost[start]:
                pieces.append(self._without(stop - start))
                continue
            if self._lost:
                self._find_again()
            at = start
            while at < stop:
                end = min(stop, at + self._room())
                part = slice(at, end)
                pieces.append(
                    self._follow(specific_force_m_s2[part], angular_rate_rad_s[part], heard[part])
                )
                at = end
        return _joined(pieces)

    def settle(self, found: LiveFollowed, hand_off: Flags) -> LiveOrientation:
        """Turn a block that was followed into the base frame.

        Args:
            found: The block.
            hand_off: Shape (n,), nobody touches the cell, and that is known.
        """
        said = self.rests.feed(found.up, found.known, found.still, hand_off)
        size = len(found.known)
        at_home, age_s = np.zeros(size, dtype=np.bool_), np.full(size, np.inf)
        to_base = np.tile([0.0, 0.0, 0.0, 1.0], (size, 1))
        levels = dict(said.anew)
        cuts = {0, size, *np.flatnonzero(found.anew).tolist(), *levels}
        cuts |= set((np.flatnonzero(np.diff(found.known)) + 1).tolist())
        for start, stop in pairwise(sorted(cuts)):
            if found.anew[start]:
                self._forget_heading()
            if start in levels:
                self._stand(levels[start])
            if not found.known[start]:
                continue
            part = slice(start, stop)
            earth = found.humerus_to_earth[part]
            still = found.still[part] & (angle_between(found.up[part], self._up) < self._tolerance)
            turned = twist(quaternion_product(self._level, earth), self._up)
            at_home[part], heading, age_s[part] = self._hold_heading(still, turned)
            to_base[part] = into_base(earth, heading, self._up)
        if size in levels:
            self._stand(levels[size])
        return LiveOrientation(to_base, found.known, at_home, age_s, said.unsettled)

    def _stand(self, up_in_base: Floats) -> None:
        """Let another vertical hold; the base may have turned about it as well."""
        self._up, self._level = up_in_base, level(up_in_base).as_quat()
        self._forget_heading()

    def _room(self) -> int:
        """Return how many samples may go through before the opening is looked at."""
        if self._opening is None:
            return int(np.iinfo(np.int64).max)
        return self._window - sum(len(part) for part in self._opening)

    def _follow(self, specific_force: Floats, raw_rate: Floats, heard: Flags) -> LiveFollowed:
        found = self._filter.updateBatch(
            np.ascontiguousarray(raw_rate - self._rough_bias), np.ascontiguousarray(specific_force)
        )
        earth = np.roll(found["quat6D"], -1, axis=1)  # its scalar comes first
        rate = raw_rate - self._rough_bias - found["bias"]
        up = up_in_humerus(earth)
        still = (lengths(self._smoother(rate)) < self._slow) & heard
        anew = np.zeros(len(earth), dtype=np.bool_)
        anew[0], self._anew = self._anew, False
        near = still & ~anew & (angle_between(up, self._up) < self._tolerance)
        rested = run_lengths(near, self._rested)
        self._rested = int(rested[-1])
        if self._opening is not None:
            self._opening.append(np.hstack([raw_rate, specific_force, heard[:, np.newaxis]]))
            if self._room() == 0:
                self._look_at_opening()
        known = np.ones(len(earth), dtype=np.bool_)
        return LiveFollowed(earth, known, rate, up, still, anew, rested >= self._needed)

    def _look_at_opening(self) -> None:
        """Take the gyro's bias from the first window in which the arm hangs still."""
        window = np.concatenate(self._opening or [])
        rate, specific_force, heard = window[:, :3], window[:, 3:6], window[:, 6] > 0
        bias = still_rate(
            rate, specific_force, heard, self._described, self._tolerance, self._fs_hz
        )
        self._opening = []
        if bias.any():
            self._opening = None
            self._rough_bias = bias
            self._filter = VQF(1.0 / self._fs_hz)
            self._anew = True

    def _find_again(self) -> None:
        """Begin anew behind a gap; of what was known only the gyro's bias still holds."""
        bias, sigma = self._filter.getBiasEstimate()
        self._filter = VQF(1.0 / self._fs_hz)
        self._filter.setBiasEstimate(np.asarray(bias), sigma)
        self._smoother.reset()
        self._lost = False

    def _without(self, size: int) -> LiveFollowed:
        self._lost, self._anew, self._rested = True, False, 0
        if self._opening is not None:
            self._opening = []
        nothing = np.zeros(size, dtype=np.bool_)
        nowhere = np.tile([0.0, 0.0, 0.0, 1.0], (size, 1))
        rate = np.full((size, 3), np.nan)
        anew = np.arange(size) == 0
        return LiveFollowed(nowhere, nothing, rate, nowhere[:, :3], nothing, anew, nothing)

    def _forget_heading(self) -> None:
        self._rest, self._heading, self._age_s = _Rest(), 0.0, np.inf

    def _hold_heading(self, still: Flags, turned_rad: Floats) -> tuple[Flags, Floats, Floats]:
        """Return at home, heading and its age for every sample of a block."""
        size = len(still)
        at_home = np.zeros(size, dtype=np.bool_)
        heading = np.full(size, self._heading)
        age_s = self._age_s + np.arange(1, size + 1) / self._fs_hz
        for start, stop in _pieces(still):
            if not still[start]:
                self._rest = _Rest()
                continue
            # The mean of the rest so far: the longer it lasts the better it is known.
            sums = self._rest.turns + np.cumsum(np.exp(1j * turned_rad[start:stop]))
            lasted = self._rest.lasted + np.arange(1, stop - start + 1)
            enough = lasted >= self._needed
            at_home[start:stop] = enough
            heading[start:stop][enough] = np.angle(sums)[enough]
            age_s[start:stop][enough] = 0.0
            self._rest = _Rest(int(lasted[-1]), complex(sums[-1]))
            if enough[-1]:
                heading[stop:] = heading[stop - 1]
                age_s[stop:] = np.arange(1, size - stop + 1) / self._fs_hz
        self._heading, self._age_s = float(heading[-1]), float(age_s[-1])
        return at_home, heading, age_s


@dataclass(frozen=True, slots=True)
class _Rest:
    """A rest that may still go on: its samples, and the sum of their turns on the unit circle."""

    lasted: int = 0
    turns: complex = 0j


def _pieces(flags: Flags) -> list[tuple[int, int]]:
    """Return the half-open ranges in which *flags* does not change, in order."""
    return sorted([*runs_of(flags), *runs_of(~flags)])


def _joined(pieces: list[LiveFollowed]) -> LiveFollowed:
    if len(pieces) == 1:
        return pieces[0]
    return LiveFollowed(
        *(
            np.concatenate([getattr(piece, name) for piece in pieces])
            for name in LiveFollowed.__slots__
        )
    )
