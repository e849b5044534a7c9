"""The geometry of the map, by the definition of the azimuthal equidistant projection.

Distance from the middle is the angle to the target, bearing is kept (Snyder 1987, Map
Projections - A Working Manual, USGS Professional Paper 1395, p. 191).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.scapula import ScapularRhythm
from analysis.target import Target
from ui.live.moment import Moment, moment_of
from ui.live.target_map import (
    SPAN_DEG,
    TRAIL_S,
    TRAIL_STEP_S,
    Stand,
    TargetMapModel,
    allowed_outline,
    lateral_is_right,
    superior_limit_line,
)

Maker = Callable[..., Moment]


def test_a_push_along_the_target_is_in_the_middle(moment: Maker) -> None:
    look = TargetMapModel().look(moment(40.0 * Target().direction))

    assert np.allclose(look.point_deg, 0.0, atol=1e-6)
    assert look.inside


def test_a_level_push_lies_above_by_the_tilt_of_the_target(moment: Maker) -> None:
    level = np.array([-np.cos(np.deg2rad(30.0)), 0.0, np.sin(np.deg2rad(30.0))])

    look = TargetMapModel().look(moment(40.0 * level))

    assert look.point_deg == pytest.approx([0.0, 5.0])


def test_what_lies_outside_is_kept_at_the_edge_in_its_direction(moment: Maker) -> None:
    look = TargetMapModel().look(moment(np.array([0.0, 0.0, 40.0])))

    assert look.beyond
    assert not look.inside
    assert np.hypot(*look.point_deg) == pytest.approx(SPAN_DEG - 1.0)
    assert look.point_deg[0] > 25.0


def test_uncertainty_across_is_that_of_the_azimuth_on_its_small_circle(moment: Maker) -> None:
    steep = np.deg2rad(-40.0)
    push = np.array([-np.cos(steep), np.sin(steep), 0.0])

    look = TargetMapModel().look(moment(40.0 * push, u_deg=(2.0, 1.0)))

    assert look.u_deg == pytest.approx([2.0 * np.cos(steep), 1.0])


@given(tilt=st.floats(-20.0, 20.0), limit=st.floats(-10.0, 10.0), azimuth=st.floats(-60.0, 60.0))
def test_the_limit_line_divides_upward_from_not(tilt: float, limit: float, azimuth: float) -> None:
    target = Target(inferior_tilt_deg=tilt, superior_limit_deg=limit, glide_azimuth_deg=azimuth)

    line = superior_limit_line(target)

    middle = line[len(line) // 2]
    assert middle == pytest.approx([0.0, limit + tilt], abs=1e-6)
    assert (np.diff(line[:, 0]) > 0.0).all()


@given(tilt=st.floats(-12.0, 12.0), cone=st.floats(4.0, 25.0))
def test_the_allowed_ground_is_in_the_cone_and_below_the_limit(tilt: float, cone: float) -> None:
    target = Target(inferior_tilt_deg=tilt, cone_deg=cone)
    line = superior_limit_line(target)

    ground = allowed_outline(target)

    assert (np.hypot(*ground.T) <= cone + 1e-6).all()
    at = np.interp(ground[:, 0], line[:, 0], line[:, 1])
    assert (ground[:, 1] <= at + 1e-6).all()


def test_the_trail_is_the_mean_of_fast_steps_oldest_first(
    steady: Callable[..., Any], well: Callable[..., Any]
) -> None:
    target = Target()
    old = steady(40.0 * target.direction, seconds=3.0)
    new = steady(np.array([-40.0, 0.0, 10.0]), seconds=0.5, start_s=3.0)

    look = TargetMapModel().look(moment_of(target, new, (old, new), well()))

    steps = round(TRAIL_S / TRAIL_STEP_S)
    assert len(look.trail_deg) in (steps - 1, steps)
    assert np.allclose(look.trail_deg[0], 0.0, atol=1e-6)
    assert look.trail_deg[-1] == pytest.approx(look.point_deg)
    assert look.trail_age_s[0] > look.trail_age_s[-1] > 0.0


def test_a_trail_has_no_points_where_there_was_no_direction(
    steady: Callable[..., Any], well: Callable[..., Any]
) -> None:
    light = steady(np.array([-1.0, 0.0, 0.0]), seconds=3.0, directed=False)

    look = TargetMapModel().look(moment_of(Target(), light, (light,), well()))

    assert len(look.trail_deg) == 0


@pytest.mark.parametrize(
    ("side", "stand", "right"),
    [
        ("right", Stand.BEHIND, True),
        ("left", Stand.BEHIND, False),
        ("right", Stand.FRONT, False),
        ("left", Stand.FRONT, True),
    ],
)
def test_lateral_is_where_the_onlooker_sees_it(side: str, stand: Stand, right: bool) -> None:
    """By the axes: facing +X with +Y up, +Z (lateral of a right shoulder) is on the right."""
    facing = np.array([1.0 if stand is Stand.BEHIND else -1.0, 0.0, 0.0])
    to_the_right = np.cross(facing, [0.0, 1.0, 0.0])
    lateral = np.array([0.0, 0.0, 1.0 if side == "right" else -1.0])

    assert lateral_is_right(side, stand) is right
    assert bool(to_the_right @ lateral > 0.0) is right


def test_a_target_that_moves_is_the_middle_of_the_map(moment: Maker) -> None:
    """Straight on a target that tilts 20° down the point is in the middle, wherever that is."""
    tilted = Target(inferior_tilt_deg=25.0).direction
    moving = Target(scapula=ScapularRhythm())
    here = moment(40.0 * tilted)
    rows = here.recent[0]
    turned = replace(rows, target_direction=np.tile(tilted, (len(rows), 1)))
    seen = moment_of(moving, turned, (turned,), here.feed)

    still, look = TargetMapModel().look(here), TargetMapModel().look(seen)

    assert still.point_deg == pytest.approx([0.0, -20.0], abs=0.01)
    assert look.point_deg == pytest.approx([0.0, 0.0], abs=1e-6)
    assert look.trail_deg == pytest.approx(0.0, abs=1e-6)
    assert look.toward == pytest.approx(tilted)
    aside = replace(turned, force_n=np.tile([-30.0, -3.0, 20.0], (len(rows), 1)))
    off = TargetMapModel().look(moment_of(moving, aside, (aside,), here.feed))
    assert np.hypot(*off.point_deg) > 15.0
    assert off.trail_deg == pytest.approx(np.tile(off.point_deg, (len(off.trail_deg), 1)))
    line = superior_limit_line(moving, look.toward)
    assert line[75] == pytest.approx([0.0, 27.0], abs=0.01)  # +2° seen from 25° below level
