"""The part of the arc already done is judged step by step, up and down apart."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from analysis.series import ResolvedSeries
from analysis.target import Target
from ui.live.arc import STEP_DEG, ArcModel, Hold, held_on_target
from ui.live.moment import Moment, moment_of

Steady = Callable[..., ResolvedSeries]
D = Target().direction


def at(elevation_deg: float) -> int:
    return int(elevation_deg / STEP_DEG)


def moved_through(
    model: ArcModel, steady: Steady, well: Callable[..., Any], path: list[tuple[float, float]]
) -> Any:
    """Let the arm stand at each elevation for a while, pushed with so many newtons on target."""
    look = None
    for step, (elevation_deg, force_n) in enumerate(path):
        series = steady(force_n * D, elevation_deg=elevation_deg, start_s=0.2 * step)
        look = model.look(moment_of(Target(), series, (series,), well()))
    return look


def test_a_step_done_well_is_good_and_one_with_too_little_force_is_not(
    steady: Steady, well: Callable[..., Any]
) -> None:
    path = [(0.0, 40.0), (12.0, 40.0), (42.0, 40.0), (62.0, 10.0)]

    look = moved_through(ArcModel(), steady, well, path)

    assert look.raising[at(42.0)] is Hold.GOOD
    assert look.raising[at(62.0)] is Hold.BAD
    assert look.raising[at(90.0)] is Hold.NOT_YET
    assert set(look.lowering) == {Hold.NOT_YET}


def test_the_way_down_is_judged_apart(steady: Steady, well: Callable[..., Any]) -> None:
    path = [(0.0, 40.0), (20.0, 40.0), (92.0, 40.0), (62.0, 10.0)]

    look = moved_through(ArcModel(), steady, well, path)

    assert look.raising[at(92.0)] is Hold.GOOD
    assert look.lowering[at(62.0)] is Hold.BAD
    assert look.raising[at(62.0)] is Hold.NOT_YET


def test_what_was_done_stays_until_the_arm_leaves_home_again(
    steady: Steady, well: Callable[..., Any]
) -> None:
    model = ArcModel()
    done = moved_through(
        model, steady, well, [(0.0, 40.0), (20.0, 40.0), (92.0, 40.0), (42.0, 40.0), (0.0, 40.0)]
    )
    assert done.raising[at(92.0)] is Hold.GOOD

    again = moved_through(model, steady, well, [(0.0, 40.0), (20.0, 40.0)])

    assert again.raising[at(92.0)] is Hold.NOT_YET
    assert again.raising[at(20.0)] is Hold.GOOD


@pytest.mark.parametrize(
    ("changes", "good", "bad"),
    [
        ({}, True, False),
        ({"contact": False, "directed": False}, False, True),
        ({"directed": False}, False, False),
    ],
    ids=["on target", "hand away", "no direction"],
)
def test_a_hold_is_good_or_not_or_not_known(
    steady: Steady, changes: dict[str, Any], good: bool, bad: bool
) -> None:
    found = held_on_target(steady(40.0 * D, **changes), Target())

    assert [bool(flags.all()) for flags in found] == [good, bad]


def test_an_upward_push_inside_the_cone_is_not_a_good_hold(steady: Steady) -> None:
    upward = np.deg2rad(4.0)  # nine degrees off a target that points five down
    push = 40.0 * np.array(
        [-np.cos(upward) * np.cos(np.pi / 6), np.sin(upward), np.cos(upward) * np.sin(np.pi / 6)]
    )

    good, bad = held_on_target(steady(push), Target())

    assert not good.any()
    assert bad.all()


def test_an_arm_that_is_not_known_has_no_step(moment: Callable[..., Moment]) -> None:
    look = ArcModel().look(moment(40.0 * D, elevation_deg=float("nan")))

    assert set(look.raising) == {Hold.NOT_YET}
    assert np.isnan(look.elevation_deg)
