"""A rig that was bumped while it recorded: found by its rests at home, and reckoned with.

At home the humerus stands still in the base, so the vertical seen there is the base's own. If it
has moved and stays where it is, it is the base that leans now. But an arm that stopped short of
home, or was put down on something, looks the same at a single rest. So a lean is a bump only if

- the rests before it show where home was,
- the next two stays at home behind it, each after the arm had been away, agree on the new vertical
  while nobody touches the cell, and
- no later rest shows the old one again.

What falls short of that and cannot be told from a bump is a doubt: nothing is levelled anew, and
what lies between the rests that are sure is not to be trusted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.vectors import angle_between, cross, lengths

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

AGREE_RAD = np.deg2rad(0.5)
"""Rests of an arm at its stop agree within some tenths of a degree. Ours."""
BUMP_RAD = np.deg2rad(1.0)
"""Twice that is another vertical; less is not worth levelling anew. Ours."""
DOUBT_RAD = np.deg2rad(3.0)
"""So much a direction may be uncertain before it is none (a target's default limit)."""
STAYS_NEEDED = 2
"""So many stays at home must agree on a new vertical: one is the arm hanging otherwise."""


@dataclass(frozen=True, slots=True)
class Rests:
    """Still moments near home, k of them in order.

    Attributes:
        starts: Shape (k,), first sample of each.
        stops: Shape (k,), the sample behind it.
        verticals: Shape (k, 3), the mean vertical in H, of any length.
        arrived: Shape (k,), the arm had been away since the one before.
        hand_off: Shape (k,), nobody touched the cell, and that is known.
    """

    starts: Ints
    stops: Ints
    verticals: Floats
    arrived: Flags
    hand_off: Flags

    @property
    def stays(self) -> Ints:
        """Number of the stay at home that each belongs to, shape (k,)."""
        return np.cumsum(self.arrived)


@dataclass(frozen=True, slots=True)
class Bump:
    """A lean of the base.

    Attributes:
        at: First sample that is reckoned with the new pose: the first rest in it.
        leaned_rad: By how much.
        up_in_base: Shape (3,), the vertical in B from there on.
    """

    at: int
    leaned_rad: float
    up_in_base: Floats


@dataclass(frozen=True, slots=True)
class Doubt:
    """A range of samples in which the base may not have stood as is reckoned.

    Attributes:
        start: Behind the last rest that is sure.
        stop: Where the next one that is sure begins; the end if there is none.
        away_rad: How far from home the arm rested in it.
        bumped: It is sure that it was a bump.
    """

    start: int
    stop: int
    away_rad: float
    bumped: bool


@dataclass(frozen=True, slots=True)
class Settled:
    """What the rests at home say.

    Attributes:
        bumps: In order.
        doubts: In order.
        verticals: Shape (k, 3), the vertical in H that holds at each rest.
    """

    bumps: tuple[Bump, ...]
    doubts: tuple[Doubt, ...]
    verticals: Floats


def find_bumps(rests: Rests, up_in_base: Floats, count: int) -> Settled:
    """Return the bumps that the rests at home show, and what stays in doubt.

    Args:
        rests: At least one.
        up_in_base: Shape (3,), the vertical in B as described, believed up to the first bump.
        count: Samples of the whole.
    """
    at = _first_at_home(rests, up_in_base)
    first = home = _mean_from(rests, at)
    bumps: list[Bump] = []
    doubts = _doubt(rests, None, at, home, count) if at else []
    holds = np.tile(home, (len(rests.starts), 1))
    while True:
        away = angle_between(rests.verticals, home)
        odd = at + 1 + np.flatnonzero(away[at + 1 :] > BUMP_RAD)
        if not len(odd):
            return Settled(tuple(bumps), tuple(doubts), holds)
        before = int(odd[0]) - 1
        home_again = odd[0] + np.flatnonzero(away[odd[0] :] <= AGREE_RAD)
        back = int(home_again[0]) if len(home_again) else None
        tells = rests.hand_off & (away > BUMP_RAD)
        new = None if len(home_again) else _agreed(rests, before, None, tells)
        if new is None:
            doubts += _doubt(rests, before, back, home, count)
            if back is None:
                return Settled(tuple(bumps), tuple(doubts), holds)
            at = back
            continue
        at, now = new
        leaned = float(angle_between(now, home))
        bumps.append(Bump(int(rests.starts[at]), leaned, carried(first, now, up_in_base)))
        doubts.append(Doubt(int(rests.stops[before]), int(rests.starts[at]), leaned, bumped=True))
        holds[at:] = home = now


def carried(old: Floats, new: Floats, vector: Floats) -> Floats:
    """Return *vector* turned as *old* must be to become *new*, each (3,), the shortest way."""
    axis = cross(old, new)
    length = float(np.linalg.norm(axis))
    if length < 1e-12:
        return vector
    turn = axis / length * float(angle_between(old, new))
    return np.asarray(Rotation.from_rotvec(turn).apply(vector))


def _first_at_home(rests: Rests, up_in_base: Floats) -> int:
    """Return the first rest that shows home: one of another stay agrees, or what differs is worse.

    Worse is further from the vertical as described.
    """
    stays, tilt = rests.stays, angle_between(rests.verticals, up_in_base)
    for index in range(len(stays)):
        away = angle_between(rests.verticals[index:], rests.verticals[index])
        odd = index + np.flatnonzero(away > BUMP_RAD)
        again = (away <= AGREE_RAD) & (stays[index:] > stays[index])
        if again.any() or not len(odd) or tilt[index] <= tilt[odd[0]]:
            return index
    return 0


def _mean_from(rests: Rests, at: int) -> Floats:
    """Return the mean vertical of a rest and those behind it that agree, up to one that differs."""
    away = angle_between(rests.verticals[at:], rests.verticals[at])
    odd = np.flatnonzero(away > BUMP_RAD)
    until = int(odd[0]) if len(odd) else len(away)
    return _mean(rests.verticals[at : at + until][away[:until] <= AGREE_RAD])


def _agreed(rests: Rests, before: int, back: int | None, use: Flags) -> tuple[int, Floats] | None:
    """Return the first rest in a pose that stays at home on end agree on, and its mean vertical.

    Args:
        rests: All.
        before: The last that is sure; those behind it are looked at.
        back: The next that is sure, None if there is none. The arm came home in its stay.
        use: Shape (k,), those that tell.
    """
    stays = rests.stays
    told = before + 1 + np.flatnonzero(use[before + 1 : back])
    if back is not None:
        told = told[stays[told] < stays[back]]
    # A stay that began before the last sure rest is no coming back.
    coming = np.unique(stays[told][stays[told] > stays[before]])
    for first in range(len(coming) - STAYS_NEEDED + 1):
        on_end = coming[first : first + STAYS_NEEDED]
        window = told[stays[told] <= on_end[-1]]
        if first:
            window = window[stays[window] >= on_end[0]]
        pose = _pose_of_all(rests, window, on_end)
        if len(pose):
            return int(pose[0]), _mean(rests.verticals[pose])
    return None


def _pose_of_all(rests: Rests, window: Ints, stays: Ints) -> Ints:
    """Return those rests of *window* that agree in each of *stays*, none if there are none.

    Of several poses the one in which the arm rested longest: in the others it paused on its way.
    """
    verticals, of_stay = rests.verticals[window], rests.stays[window]
    near = np.array([angle_between(verticals, one) <= AGREE_RAD for one in verticals])
    common = np.all([near[:, of_stay == stay].any(axis=1) for stay in stays], axis=0)
    rested = np.where(common, near @ (rests.stops - rests.starts)[window], 0)
    longest = int(np.argmax(rested))
    return window[near[longest]] if common[longest] else window[:0]


def _doubt(
    rests: Rests, before: int | None, back: int | None, home: Floats, count: int
) -> list[Doubt]:
    """Return the doubt that rests between two sure ones leave, if any.

    They leave one if they look like a bump but for what is missing: the arm came to them and did
    not come home again, hands off, or stays on end agree and then it did.
    """
    if before is None:
        away = float(angle_between(rests.verticals[:back], home).max())
    else:
        away = _away_like_bumped(rests, before, back, home)
    if away <= DOUBT_RAD:
        return []
    start = 0 if before is None else int(rests.stops[before])
    stop = count if back is None else int(rests.starts[back])
    return [Doubt(start, stop, away, bumped=False)]


def _away_like_bumped(rests: Rests, before: int, back: int | None, home: Floats) -> float:
    agreed = _agreed(rests, before, back, np.ones_like(rests.arrived))
    away = 0.0 if agreed is None else float(angle_between(agreed[1], home))
    came = (rests.stays > rests.stays[before]) & rests.hand_off
    if back is None and came.any():
        last = rests.verticals[np.flatnonzero(came)[-1]]
        away = max(away, float(angle_between(last, home)))
    return away


def _mean(verticals: Floats) -> Floats:
    total = verticals.sum(axis=0)
    return np.asarray(total / lengths(total[np.newaxis])[0])
