"""The scale of the upward bar is painted once per size: it must notice another one."""

from __future__ import annotations

from pytestqt.qtbot import QtBot

from analysis.target import Target
from ui.desktop.look import BAND
from ui.desktop.upward_bar import BAR_LEFT, UpwardBar


def allowed_rows(bar: UpwardBar) -> tuple[int, int]:
    """Return the first and last row on which the allowed part is shaded."""
    picture = bar.grab().toImage()
    column = int(BAR_LEFT) + 4
    rows = [y for y in range(picture.height()) if picture.pixelColor(column, y) == BAND]
    return rows[0], rows[-1]


def test_the_scale_follows_the_height_of_the_window(qtbot: QtBot) -> None:
    bar = UpwardBar(Target(), "right")
    qtbot.addWidget(bar)
    width = bar.sizeHint().width()

    bar.resize(width, 400)
    low_top, low_foot = allowed_rows(bar)
    bar.resize(width, 600)
    high_top, high_foot = allowed_rows(bar)

    assert high_foot - low_foot == 200
    assert high_foot - high_top > 1.5 * (low_foot - low_top)
