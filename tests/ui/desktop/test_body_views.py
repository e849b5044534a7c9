"""The views over the shoulder are drawn the right way round, and never hold an old number."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from PySide6.QtGui import QColor
from pytestqt.qtbot import QtBot

from analysis.target import Target
from ui.desktop import look as colours
from ui.desktop.above_view import AboveView
from ui.desktop.arc_dial import ArcDial
from ui.desktop.body_view import BodyView
from ui.desktop.outside_view import OutsideView
from ui.live.anatomy import PlaneLook
from ui.live.arc import STEPS, ArcLook, Hold
from ui.live.phases import MovementPhase
from ui.live.push import PushState
from ui.live.target_map import Stand

Place = tuple[float, float]


def shown(angle_deg: float, *, inside: bool = True) -> PlaneLook:
    return PlaneLook(PushState.DIRECTION, angle_deg, 0.6, 1.0, inside, "word", Target())


def unknown(state: PushState) -> PlaneLook:
    return PlaneLook(state, math.nan, math.nan, 0.0, inside=True, word=state.value, target=Target())


def tip_of(view: BodyView, colour: QColor, toward: Place) -> float:
    """Return how far what has a colour reaches in a direction."""
    picture = view.grab().toImage()
    return max(
        (x - picture.width() / 2) * toward[0] + (y - picture.height() / 2) * toward[1]
        for x in range(picture.width())
        for y in range(30, picture.height() - 25)
        if picture.pixelColor(x, y) == colour
    )


@pytest.fixture
def make(qtbot: QtBot) -> Callable[..., BodyView]:
    """Return a maker of views of a size."""

    def one(kind: type[AboveView] | type[OutsideView], side: str) -> BodyView:
        view = kind(Target(), side)
        qtbot.addWidget(view)
        view.resize(260, 260)
        return view

    return one


@pytest.mark.parametrize(("side", "way"), [("right", 1.0), ("left", -1.0)])
def test_seen_from_above_a_lateral_push_leans_outward_and_turns_with_the_trainee(
    make: Callable[..., BodyView], side: str, way: float
) -> None:
    view = make(AboveView, side)
    assert isinstance(view, AboveView)
    view.show_look(shown(80.0))
    out = tip_of(view, colours.GOOD, (way, 0.0))
    assert out > tip_of(view, colours.GOOD, (-way, 0.0))

    view.look_from(Stand.FRONT)

    assert tip_of(view, colours.GOOD, (-way, 0.0)) == pytest.approx(out, abs=2.0)


def test_seen_from_the_outside_an_upward_push_points_higher_and_in_the_colour_of_bad(
    make: Callable[..., BodyView],
) -> None:
    view = make(OutsideView, "right")
    view.show_look(shown(0.0))
    level = tip_of(view, colours.GOOD, (0.0, -1.0))

    view.show_look(shown(40.0, inside=False))

    assert tip_of(view, colours.BAD, (0.0, -1.0)) > level + 20.0


@pytest.mark.parametrize("state", [s for s in PushState if s is not PushState.DIRECTION])
def test_a_state_without_direction_shows_its_word_and_no_number(
    make: Callable[..., BodyView], state: PushState
) -> None:
    view = make(AboveView, "right")
    view.show_look(shown(30.0))
    assert view.text == "30° ± 0.6°"

    view.show_look(unknown(state))

    assert view.text == "—"
    assert view.word == state.value


def test_states_without_direction_do_not_look_like_one_another(
    make: Callable[..., BodyView],
) -> None:
    view = make(OutsideView, "right")
    pictures = []
    for state in (PushState.TOO_LIGHT, PushState.NO_DATA, PushState.SATURATED):
        view.show_look(unknown(state))
        pictures.append(view.grab().toImage())

    light, gone, saturated = pictures
    assert light != gone
    assert gone != saturated
    assert saturated != light


def arc(raising: tuple[Hold, ...], *, too_fast: bool = False) -> ArcLook:
    nothing = (Hold.NOT_YET,) * STEPS
    return ArcLook(90.0, 10.0, too_fast, MovementPhase.RAISE, 2, raising, nothing, "raise")


def test_good_and_poor_steps_differ_in_place_and_texture_not_only_in_colour(qtbot: QtBot) -> None:
    dial = ArcDial(Target(), "right")
    qtbot.addWidget(dial)
    dial.resize(400, 260)
    coloured = []
    for hold in (Hold.GOOD, Hold.BAD, Hold.UNKNOWN):
        dial.show_look(arc((hold,) * 10 + (Hold.NOT_YET,) * (STEPS - 10)))
        picture = dial.grab().toImage()
        grey = picture.convertToFormat(picture.Format.Format_Grayscale8)
        dark = [
            (x, y)
            for x in range(200)
            for y in range(60, 240)
            if grey.pixelColor(x, y).value() < 160
        ]
        coloured.append(len(dark))

    good, bad, unknown_ = coloured
    assert good > bad > unknown_


def test_the_dial_says_elevation_phase_and_count_and_warns_of_speed(qtbot: QtBot) -> None:
    dial = ArcDial(Target(), "right")
    qtbot.addWidget(dial)
    assert dial.text == "—"

    dial.show_look(arc((Hold.NOT_YET,) * STEPS))
    assert (dial.text, dial.word) == ("90°", "raise · 2 done")

    dial.show_look(arc((Hold.NOT_YET,) * STEPS, too_fast=True))
    assert dial.word == "▲ too fast"
