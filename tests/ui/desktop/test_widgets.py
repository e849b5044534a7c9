"""Gauges say what they are given; pictures are made without a screen."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PySide6.QtGui import QImage
from pytestqt.qtbot import QtBot

from analysis.scapula import ScapularRhythm
from analysis.target import Target
from ui.desktop import grab_window
from ui.desktop.gauge import Gauge, Scale
from ui.desktop.map_view import MapView
from ui.desktop.upward_bar import UpwardBar
from ui.live.push import PushState
from ui.live.superior import SuperiorLook
from ui.live.target_map import TargetMap


@pytest.mark.parametrize(
    ("value", "text"), [(float("nan"), "—"), (3.6, "4 N"), (-0.2, "0 N"), (61.4, "61 N")]
)
def test_a_gauge_says_its_number(qtbot: QtBot, value: float, text: str) -> None:
    gauge = Gauge(Scale("Force", " N", 0.0, 120.0, (0.0, 60.0), (20.0, 60.0)))
    qtbot.addWidget(gauge)

    gauge.show_value(value, "", bad=False)

    assert gauge.text == text


@pytest.mark.parametrize(("angle", "text"), [(-3.6, "−4°"), (-0.2, "+0°"), (12.4, "+12°")])
def test_the_upward_bar_says_its_sign(qtbot: QtBot, angle: float, text: str) -> None:
    bar = UpwardBar(Target(), "right")
    qtbot.addWidget(bar)

    bar.show_look(SuperiorLook(angle, 0.5, 1.0, over=angle > 2.0, word="word"))

    assert bar.text == text


def test_the_upward_bar_rises_with_the_angle(qtbot: QtBot) -> None:
    """Seen from outside: the row where the bar's end is painted goes up."""
    bar = UpwardBar(Target(), "right")
    qtbot.addWidget(bar)
    bar.resize(bar.sizeHint())
    ends = []
    for angle in (-10.0, 5.0, 15.0):
        bar.show_look(SuperiorLook(angle, 0.5, 1.0, over=False, word=""))
        picture = bar.grab().toImage()
        blue = [y for y in range(picture.height()) if picture.pixelColor(63, y).name() == "#0b5cad"]
        ends.append((min(blue), max(blue)))

    down, up, higher = ends
    assert higher[0] < up[0] < down[0]
    assert abs(up[1] - higher[1]) <= 2


def test_what_is_allowed_on_the_map_moves_with_a_target_that_moves(qtbot: QtBot) -> None:
    """Standing still the limit, +2°, lies 7° above the target; from 25° below level it is 27°."""
    target = Target(scapula=ScapularRhythm())
    view = MapView(target, "right")
    qtbot.addWidget(view)
    unknown = np.full(2, np.nan)
    nothing = np.zeros((0, 2))
    look = TargetMap(
        PushState.NO_CONTACT, unknown, unknown, False, False, nothing, nothing[:, 0],
        Target(inferior_tilt_deg=25.0).direction, nothing,
    )  # fmt: skip

    def lowest_forbidden_deg() -> float:
        corners = view._above.polygon()
        points = (corners.at(number) for number in range(corners.size()))
        return float(min(point.y() for point in points if abs(point.x()) < 5.0))

    at_home = lowest_forbidden_deg()
    view.show_look(look)

    assert at_home == pytest.approx(7.0, abs=0.1)
    assert lowest_forbidden_deg() == pytest.approx(27.0, abs=0.1)


def test_a_grabbed_picture_is_the_same_again(qtbot: QtBot, tmp_path: Path) -> None:
    paths = [tmp_path / "one.png", tmp_path / "two.png"]
    for path in paths:
        grab_window(path, "virtual:?trainee=T01&seed=7", seconds=6.0, size=(1024, 768))

    one, two = (QImage(str(path)) for path in paths)
    assert (one.width(), one.height()) == (1024, 768)
    assert one == two
    colours = {one.pixel(x, y) for x in range(0, 1024, 8) for y in range(0, 768, 8)}
    assert len(colours) > 10
