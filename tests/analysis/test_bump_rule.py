"""The rule that tells a bump from an arm that hangs otherwise, on rests made up here.

A session is a list of stays at home with the arm away in between; each stay shows a lean of the
vertical, and who made it is known, because it was made here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.bumps import (
    AGREE_RAD,
    BUMP_RAD,
    DOUBT_RAD,
    Bump,
    Doubt,
    Rests,
    Settled,
    carried,
    find_bumps,
)
from analysis.vectors import angle_between

Floats = NDArray[np.float64]
UP = np.array([0.0, 1.0, 0.0])
EXAMPLES = settings(deadline=None, max_examples=150)
EVERY, LASTS = 100, 50
"""A rest begins each so many samples, and lasts so long."""


@dataclass(frozen=True)
class Stay:
    """One stay at home: how the vertical leans, degrees about X and Z, and whether a hand was on.

    Several leans are rests without the arm going away in between.
    """

    leans_deg: tuple[tuple[float, float], ...]
    hand_off: bool = True


def stay(x_deg: float, z_deg: float = 0.0, *, hand_off: bool = True) -> Stay:
    return Stay(((x_deg, z_deg),), hand_off)


def leaning(x_deg: float, z_deg: float = 0.0) -> Floats:
    return np.asarray(Rotation.from_rotvec(np.deg2rad([x_deg, 0.0, z_deg])).apply(UP))


def rests_of(stays: list[Stay]) -> Rests:
    leans = [lean for one in stays for lean in one.leans_deg]
    sizes = [len(one.leans_deg) for one in stays]
    arrived = np.zeros(len(leans), dtype=np.bool_)
    arrived[np.cumsum([0, *sizes[:-1]])[1:]] = True
    starts = EVERY * np.arange(len(leans))
    return Rests(
        starts=starts,
        stops=starts + LASTS,
        verticals=np.array([leaning(*lean) for lean in leans]),
        arrived=arrived,
        hand_off=np.repeat([one.hand_off for one in stays], sizes),
    )


def found_in(stays: list[Stay]) -> Settled:
    rests = rests_of(stays)
    return find_bumps(rests, UP, EVERY * len(rests.starts))


def starts(bumps: tuple[Bump, ...]) -> list[int]:
    return [bump.at // EVERY for bump in bumps]


def ranges(doubts: tuple[Doubt, ...]) -> list[tuple[int, int]]:
    return [(doubt.start, doubt.stop) for doubt in doubts]


# --- by hand -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("leans_deg", "at"),
    [
        ([0, 0, 3, 3, 3], [2]),
        ([0, 0, 12, 12], [2]),
        ([0, 6, 6], [1]),
        ([0, 0, 3, 3, -1, -1], [2, 4]),
        ([0, 0, 9, 6, 6, 6], [3]),
        ([0, 0, 6, 6, 9, 6, 6], [2]),
        ([0, 0, 6, 6.2, 5.9, 12, 12.1], [2, 5]),
        # An arm that hangs otherwise once, at the end, or each time elsewhere.
        ([0, 3, 0, 0], []),
        ([0, 0, 0, 6], []),
        ([0, 0, 6, 9, 4], []),
        ([0, 0.4, 0.8, 0.4], []),
        ([0, 0, 1.2, 0.8, 0.8, 0.8], []),
        ([0, 0, 1.2, 0.8, 0.8, 6, 6], [5]),
        # Two odd rests that happen to agree, and home where it was.
        ([0, 0, 3, 3.2, 0, 0, 0], []),
        ([0, 0, 6, 6, 0.1], []),
        # The first rest was odd, not all the others.
        ([3, 0, 0, 0], []),
        ([6, 0.2, 0, 0.1], []),
    ],
)
def test_what_is_a_bump_and_what_is_none(leans_deg: list[float], at: list[int]) -> None:
    found = found_in([stay(lean) for lean in leans_deg])

    assert starts(found.bumps) == at
    for bump in found.bumps:
        assert np.rad2deg(angle_between(bump.up_in_base, leaning(leans_deg[bump.at // EVERY]))) < (
            0.3
        )


@pytest.mark.parametrize(
    ("leans_deg", "doubted"),
    [
        ([0, 0, 3, 3, 3], [(150, 200)]),
        ([0, 0, 9, 6, 6, 6], [(150, 300)]),
        # Not the pose of the rig, or not told for sure: from the last sure rest to the next.
        ([0, 0, 0, 6], [(250, 400)]),
        ([0, 0, 6, 9, 4], [(150, 500)]),
        ([0, 0, 6, 6, 0.1], [(150, 400)]),
        ([6, 0.2, 0, 0.1], [(0, 100)]),
        # Short of home once, and home again: the rig stands where it stood.
        ([0, 0, 6, 0, 0], []),
        ([0, 0, 8, 10, 0], []),
        # Less than a direction may be uncertain.
        ([0, 0, 0, 2], []),
        ([0, 0, 2, 2, 0], []),
    ],
)
def test_what_is_doubted(leans_deg: list[float], doubted: list[tuple[int, int]]) -> None:
    found = found_in([stay(lean) for lean in leans_deg])

    assert ranges(found.doubts) == doubted


def test_a_pause_on_the_way_belongs_to_the_stay_that_it_ends_or_begins() -> None:
    """Hands off at 15° on the way up and down, each time: the arm came home all the same."""
    way = Stay(((15.0, 0.0), (0.0, 0.0), (15.0, 0.0)))
    session = [Stay(((0.0, 0.0), (15.0, 0.0))), way, way, Stay(((15.0, 0.0), (0.0, 0.0)))]

    found = found_in(session)

    assert not found.bumps
    assert not found.doubts


def test_a_pause_on_the_way_is_not_taken_for_the_new_home() -> None:
    """The base leans by 6°, and the arm pauses at 15° before and behind each lift."""
    low, high = ((6.0, 0.0),) * 3, ((15.0, 0.0),)
    session = [stay(0.0), Stay((*high, *low, *high)), Stay((*high, *low, *high)), stay(6.0)]

    found = found_in(session)

    assert starts(found.bumps) == [2]
    assert found.bumps[0].up_in_base == pytest.approx(leaning(6.0), abs=1e-9)


def test_a_bump_while_the_arm_rests_spoils_no_repetition() -> None:
    session = [stay(0.0), Stay(((0.0, 0.0), (6.0, 0.0))), stay(6.0), stay(6.1)]

    found = found_in(session)

    assert starts(found.bumps) == [2]
    assert ranges(found.doubts) == [(150, 200)]


def test_a_hand_on_the_arm_shows_no_bump() -> None:
    session = [stay(0.0), stay(0.0), *(stay(6.0, hand_off=False) for _ in range(4))]

    found = found_in(session)

    assert not found.bumps
    assert ranges(found.doubts) == [(150, 600)]


def test_back_exactly_is_no_turn_at_all() -> None:
    """The shortest turn from a vertical to itself has no axis."""
    found = found_in([stay(0.0), stay(0.0), stay(3.0), stay(3.0), stay(0.0), stay(0.0)])

    assert carried(leaning(3.0), leaning(3.0), UP) == pytest.approx(UP, abs=0.0)
    assert np.isfinite(found.verticals).all()


# --- made up by the hundred ----------------------------------------------------------------

WOBBLE_DEG = 0.15
"""Rests in one pose differ by as much about each axis: within what agrees."""
wobble = st.tuples(*[st.floats(-WOBBLE_DEG, WOBBLE_DEG)] * 2)


@st.composite
def turned(draw: st.DrawFn, least_deg: float, most_deg: float) -> tuple[float, float]:
    size, angle = draw(st.floats(least_deg, most_deg)), draw(st.floats(0.0, 2.0 * np.pi))
    return float(size * np.cos(angle)), float(size * np.sin(angle))


@st.composite
def about(draw: st.DrawFn, lean: tuple[float, float], least: int, most: int) -> list[Stay]:
    """Stays in one pose."""
    many = draw(st.lists(wobble, min_size=least, max_size=most))
    return [stay(lean[0] + x, lean[1] + z) for x, z in many]


odd_stays = turned(2.0, 20.0).map(lambda lean: stay(*lean))


@given(st.data())
@EXAMPLES
def test_an_arm_that_hangs_otherwise_now_and_then_is_never_a_bump(data: st.DataObject) -> None:
    """Single odd stays anywhere behind the first home, the arm home again behind each."""
    session = data.draw(about((0.0, 0.0), 2, 3))
    for _ in range(data.draw(st.integers(1, 4))):
        session += [data.draw(odd_stays), *data.draw(about((0.0, 0.0), 1, 3))]

    found = found_in(session)

    assert not found.bumps
    assert not found.doubts


@given(st.data())
@EXAMPLES
def test_odd_stays_that_agree_are_no_bump_if_the_arm_comes_home_again(data: st.DataObject) -> None:
    lean = data.draw(turned(4.0, 20.0))
    before, odd = data.draw(about((0.0, 0.0), 2, 3)), data.draw(about(lean, 2, 5))
    session = [*before, *odd, *data.draw(about((0.0, 0.0), 1, 3))]

    found = found_in(session)

    assert not found.bumps
    first, behind = len(before), len(before) + len(odd)
    assert ranges(found.doubts) == [(EVERY * first - EVERY + LASTS, EVERY * behind)]


@given(st.data())
@EXAMPLES
def test_a_base_that_leans_for_good_is_found_where_it_does(data: st.DataObject) -> None:
    """Whatever the lean, and with single odd stays among those behind it."""
    lean = data.draw(turned(1.8, 20.0))
    before = data.draw(about((0.0, 0.0), 1, 4))
    behind = data.draw(about(lean, 2, 4))
    if data.draw(st.booleans()):
        # Odd against the new pose, and not where home was.
        other = data.draw(turned(2.0, 6.0))
        odd = stay(lean[0] + other[0], lean[1] + other[1])
        if angle_between(leaning(*odd.leans_deg[0]), UP) > 2.0 * BUMP_RAD:
            behind += [odd, *data.draw(about(lean, 1, 2))]
    session = [*before, *behind]

    found = found_in(session)

    assert starts(found.bumps) == [len(before)]
    (bump,) = found.bumps
    assert angle_between(bump.up_in_base, leaning(*lean)) < np.deg2rad(0.45)
    sure = Doubt(EVERY * (len(before) - 1) + LASTS, bump.at, bump.leaned_rad, bumped=True)
    assert found.doubts == (sure,)


@given(st.data())
@EXAMPLES
def test_what_ends_away_from_home_is_levelled_or_doubted(data: st.DataObject) -> None:
    """Nothing that lies further off than a direction may be uncertain passes without a word."""
    session = data.draw(about((0.0, 0.0), 1, 3))
    away = data.draw(st.lists(turned(3.5, 20.0), min_size=1, max_size=5))
    session += [stay(*lean) for lean in away]
    behind = EVERY * (len(session) - 1)

    found = found_in(session)

    doubted = any(one.start < behind <= one.stop for one in found.doubts)
    holds = found.verticals[-1]
    true = rests_of(session).verticals[-1]
    assert doubted or angle_between(holds, true) <= DOUBT_RAD
    assert np.isfinite(found.verticals).all()


@given(st.lists(turned(0.0, 20.0), min_size=1, max_size=8), st.data())
@EXAMPLES
def test_whatever_the_rests_the_bumps_are_what_the_rule_says(
    leans: list[tuple[float, float]], data: st.DataObject
) -> None:
    """Each bump has two stays that agree, hands off, behind it, and none that shows the old home.

    The rule, read back from what was found.
    """
    hands = data.draw(st.lists(st.booleans(), min_size=len(leans), max_size=len(leans)))
    # Some agree: leans on a coarse grid.
    session = [
        stay(round(x / 4.0) * 4.0, round(z / 4.0) * 4.0, hand_off=off)
        for (x, z), off in zip(leans, hands, strict=True)
    ]
    rests = rests_of(session)

    found = found_in(session)

    for bump in found.bumps:
        index = bump.at // EVERY
        old, new = found.verticals[index - 1], found.verticals[index]
        near = angle_between(rests.verticals[index:], new) <= AGREE_RAD
        untouched = np.flatnonzero(rests.hand_off[index:])
        assert angle_between(old, new) > BUMP_RAD
        assert near[untouched[:2]].tolist() == [True, True]
        assert (angle_between(rests.verticals[index:], old) > AGREE_RAD).all()
