"""The push over the shoulder: which way it is drawn, and what is said of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.scapula import ScapularRhythm
from analysis.target import Target
from ui.live.anatomy import (
    AboveModel,
    OutsideModel,
    azimuth_allowed,
    page_from_above,
    page_from_outside,
    superior_allowed,
)
from ui.live.moment import Moment, moment_of
from ui.live.push import PushState
from ui.live.target_map import Stand

Maker = Callable[..., Moment]


def push(size_n: float, azimuth_deg: float, superior_deg: float) -> Any:
    azimuth, superior = np.deg2rad([azimuth_deg, superior_deg])
    level = np.cos(superior)
    return size_n * np.array([-level * np.cos(azimuth), np.sin(superior), level * np.sin(azimuth)])


@pytest.mark.parametrize(
    ("azimuth_deg", "inside", "word"),
    [
        (32.0, True, "along the target"),
        (15.0, False, "more lateral"),
        (48.0, False, "less lateral"),
    ],
)
def test_from_above_it_is_the_azimuth_that_counts(
    moment: Maker, azimuth_deg: float, inside: bool, word: str
) -> None:
    look = AboveModel().look(moment(push(40.0, azimuth_deg, 8.0)))

    assert look.angle_deg == pytest.approx(azimuth_deg, abs=0.1)
    assert look.u_deg == pytest.approx(0.8, abs=0.05)
    assert (look.inside, look.word) == (inside, word)


@pytest.mark.parametrize(
    ("superior_deg", "inside", "word"),
    [(-5.0, True, "not upward"), (6.0, False, "slipping up"), (-20.0, False, "too far down")],
)
def test_from_the_outside_it_is_the_superior_angle_that_counts(
    moment: Maker, superior_deg: float, inside: bool, word: str
) -> None:
    look = OutsideModel().look(moment(push(40.0, 60.0, superior_deg)))

    assert look.angle_deg == pytest.approx(superior_deg, abs=0.1)
    assert (look.inside, look.word) == (inside, word)


@pytest.mark.parametrize(
    ("changes", "state"),
    [
        ({"directed": False, "u_deg": (6.0, 5.0)}, PushState.TOO_LIGHT),
        ({"directed": False, "contact": False}, PushState.NO_CONTACT),
    ],
)
def test_what_has_no_direction_has_no_arrow_but_a_word(
    moment: Maker, changes: dict[str, Any], state: PushState
) -> None:
    for model in (AboveModel(), OutsideModel()):
        look = model.look(moment(push(4.0, 30.0, -5.0), **changes))

        assert math.isnan(look.angle_deg)
        assert look.reach == 0.0
        assert look.word == state.value


def test_without_a_heading_only_the_azimuth_is_not_known(moment: Maker) -> None:
    now = moment(push(40.0, 30.0, 6.0), directed=False, u_deg=(6.0, 0.6))

    assert math.isnan(AboveModel().look(now).angle_deg)
    assert OutsideModel().look(now).angle_deg == pytest.approx(6.0, abs=0.1)


def test_a_harder_push_has_a_longer_arrow(moment: Maker) -> None:
    reaches = [AboveModel().look(moment(push(n, 30.0, -5.0))).reach for n in (25.0, 45.0, 90.0)]

    assert reaches[0] < reaches[1] < reaches[2] == 1.0


@pytest.mark.parametrize(
    ("side", "stand", "right", "up"),
    [
        ("right", Stand.BEHIND, 1, -1),
        ("left", Stand.BEHIND, -1, -1),
        ("right", Stand.FRONT, -1, 1),
        ("left", Stand.FRONT, 1, 1),
    ],
)
def test_from_above_the_page_lies_as_the_trainee_stands(
    side: str, stand: Stand, right: int, up: int
) -> None:
    """Back and to the outside: behind a right shoulder that is down and to the right."""
    x, y = page_from_above(30.0, side, stand)

    assert (x, y) == pytest.approx((right * 0.5, up * math.sqrt(0.75)))


@pytest.mark.parametrize(("side", "right"), [("right", -1), ("left", 1)])
def test_from_the_outside_up_is_up_and_the_front_lies_as_it_does(side: str, right: int) -> None:
    x, y = page_from_outside(30.0, side)

    assert (x, y) == pytest.approx((right * math.sqrt(0.75), 0.5))


def test_what_is_allowed_ends_at_the_superior_limit() -> None:
    assert azimuth_allowed(Target()) == (20.0, 40.0)
    assert superior_allowed(Target()) == (-15.0, 2.0)
    assert superior_allowed(Target(superior_limit_deg=-20.0)) == (-20.0, -20.0)


def test_a_target_that_moves_is_drawn_as_it_stands_now(moment: Maker) -> None:
    """Level it is 30° outward; with the arm up, say, 20° outward and 25° down."""
    here = moment(push(40.0, 20.0, -25.0), Target(scapula=ScapularRhythm()))
    rows = here.recent[0]
    toward = push(1.0, 20.2, -25.1)
    turned = replace(rows, target_direction=np.tile(toward, (len(rows), 1)))
    seen = moment_of(here.target, turned, (turned,), here.feed)

    above, outside = AboveModel().look(seen), OutsideModel().look(seen)

    assert (above.inside, outside.inside) == (True, True)
    assert above.target.glide_azimuth_deg == 20.0
    assert above.target.inferior_tilt_deg == 25.0
    assert above.target.scapula is None
    still = OutsideModel().look(moment(push(40.0, 20.0, -25.0)))
    assert not still.inside
    assert still.target == Target()
