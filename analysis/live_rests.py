"""The rule of `bumps`, causally: the vertical that holds, by the rests at home so far.

Two things it cannot know. Whether the arm will rest where home was again: so it levels anew at the
second stay in another pose, and back again if two stays show the old one. And in which of
several poses the arm will rest longest: the first that two stays on end share is taken.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.bumps import AGREE_RAD, BUMP_RAD, DOUBT_RAD, carried
from analysis.rests import AWAY_RAD, NEAR_HOME_RAD
from analysis.settings import AnalysisSettings
from analysis.vectors import angle_between, dot

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Levelling:
    """What the rests in a block of n samples brought.

    Attributes:
        anew: Behind which samples another vertical holds, and that one in B, (3,); in order.
        unsettled: Shape (n,), the arm came to rest elsewhere than at home, hands off, and has not
            been home since; or it rests just short of home, hands on or off.
    """

    anew: tuple[tuple[int, Floats], ...]
    unsettled: Flags


@dataclass(slots=True)
class _Piece:
    """A part of a rest, as long as the shortest rest, that may still go on."""

    lasted: int = 0
    total: Floats = field(default_factory=lambda: np.zeros(3))
    hand_off: bool = True


class RestFollower:
    """Follows the rests block by block; cutting anywhere changes nothing.

    Args:
        up_in_base: Shape (3,), the vertical in B as described.
        home_tolerance_rad: Tilt from home that still counts as home.
        settings: How long a rest lasts.
        fs_hz: Rate.

    Attributes:
        leaned_rad: How far from home the arm rested last, hands off; 0 if that was home, or too
            near to matter.
        levelled: How often another vertical came to hold.
    """

    def __init__(
        self,
        up_in_base: Floats,
        home_tolerance_rad: float,
        settings: AnalysisSettings,
        *,
        fs_hz: float,
    ) -> None:
        self.leaned_rad = 0.0
        self.levelled = 0
        self._described = up_in_base
        self._tolerance = home_tolerance_rad
        self._needed = max(1, int(settings.rest_min_s * fs_hz))
        self._piece = _Piece()
        self._last: Floats | None = None
        """The vertical at the last rest near home."""
        self._away = False
        self._first = self._home = up_in_base
        """The vertical at home before any bump, and that which holds."""
        self._home_stays = 0
        self._came = False
        """The arm has been away since it was surely at home."""
        self._here: list[Floats] = []
        """Where it rested in this stay, hands off, not at home."""
        self._before: list[Floats] = []
        """Likewise in the stay before."""
        self._unsettled = False
        self._short = False
        """It came to rest short of home just now, a hand on it or not."""
        self._counts_as_home = np.deg2rad(settings.repetitions.home_deg)

    def feed(self, up: Floats, known: Flags, still: Flags, hand_off: Flags) -> Levelling:
        """Take a block.

        Args:
            up: Shape (n, 3), the vertical in H, unit vectors.
            known: Shape (n,), it means something.
            still: Shape (n,), and the arm does not move.
            hand_off: Shape (n,), nobody touches the cell, and that is known.
        """
        size, at = len(up), 0
        anew: list[tuple[int, Floats]] = []
        unsettled = np.empty(size, dtype=np.bool_)
        while at < size:
            stop = self._stop(still, at)
            part = slice(at, stop)
            self._short &= bool(still[at])
            unsettled[part] = self._unsettled or self._short
            self._look_out(up[part], known[part])
            if still[at]:
                new = self._rest(up[part], hand_off[part])
                if new is not None:
                    anew.append((stop, new))
            else:
                self._piece = _Piece()
            at = stop
        return Levelling(tuple(anew), unsettled)

    def _stop(self, still: Flags, at: int) -> int:
        """Return where this stillness, or its next piece, or this movement ends in the block."""
        changes = np.flatnonzero(still[at:] != still[at])
        stop = at + int(changes[0]) if len(changes) else len(still)
        if still[at]:
            stop = min(stop, at + self._needed - self._piece.lasted)
        return stop

    def _look_out(self, up: Floats, known: Flags) -> None:
        if self._last is not None and not self._away:
            self._away = bool((known & (dot(up, self._last) < np.cos(AWAY_RAD))).any())

    def _rest(self, up: Floats, hand_off: Flags) -> Floats | None:
        """Go on with a piece of a rest; if it is long enough, look what it says."""
        piece = self._piece
        piece.lasted += len(up)
        piece.total += up.sum(axis=0)
        piece.hand_off &= bool(hand_off.all())
        if piece.lasted < self._needed:
            return None
        self._piece = _Piece()
        vertical = np.asarray(piece.total / np.linalg.norm(piece.total))
        if _apart(vertical, self._described) > NEAR_HOME_RAD:
            return None
        arrived, self._away, self._last = self._away, False, vertical
        return self._look(vertical, arrived=arrived, hand_off=piece.hand_off)

    def _look(self, vertical: Floats, *, arrived: bool, hand_off: bool) -> Floats | None:
        """Return the vertical in B that holds from now on, None if the old one does."""
        if not self._home_stays:
            if _apart(vertical, self._described) < self._tolerance:
                self._first = self._home = vertical
                self._home_stays = 1
            return None
        if arrived:
            self._came = True
            if self._here:
                self._before, self._here = self._here, []
        away_rad = _apart(vertical, self._home)
        if away_rad <= AGREE_RAD:
            self._home_stays += arrived
            self._be_home()
            return None
        # So near a repetition ends, whose measures must not be told as if nothing were.
        self._short = self._came and DOUBT_RAD < away_rad < self._counts_as_home
        if away_rad > BUMP_RAD and hand_off:
            self.leaned_rad = away_rad if away_rad > DOUBT_RAD else 0.0
            if self._came:
                return self._elsewhere(vertical)
        return None

    def _elsewhere(self, vertical: Floats) -> Floats | None:
        self._unsettled = self.leaned_rad > 0.0
        for other in self._before:
            if _apart(vertical, other) <= AGREE_RAD:
                return self._level(vertical + other)
        if all(_apart(vertical, other) > AGREE_RAD / 2.0 for other in self._here):
            self._here.append(vertical)
        return None

    def _level(self, total: Floats) -> Floats | None:
        """Let the mean of two verticals be home, and return that in B."""
        now = total / np.linalg.norm(total)
        never_again = self._home is self._first and self._home_stays == 1
        self._home, self._home_stays = now, 2
        self._be_home()
        if never_again and _apart(now, self._described) < _apart(self._first, self._described):
            self._first = now  # it was the first rest that lay elsewhere
            return None
        self.levelled += 1
        return carried(self._first, now, self._described)

    def _be_home(self) -> None:
        self._came = self._unsettled = self._short = False
        self._here, self._before = [], []
        self.leaned_rad = 0.0


def _apart(first: Floats, second: Floats) -> float:
    return float(angle_between(first, second))
