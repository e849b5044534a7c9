"""The review window: scrubbing, playing, two recordings at the same elevation."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.virtual_rig import default_rig
from analysis.pipeline import analyse
from analysis.target import Target
from analysis.trial import Trial
from ui.desktop import look
from ui.desktop.arc_dial import ArcDial
from ui.desktop.map_view import MapView
from ui.desktop.review_window import FINE_S, RUN_UP_S, ReviewWindow
from ui.desktop.scrubber import MARGIN, highest_in_columns
from ui.desktop.verdict_line import VerdictLine
from ui.live.preferences import Memory

Review = Callable[..., ReviewWindow]


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> list[Trial]:
    """A trainee who slips upward, twice, and an expert."""
    folder = tmp_path_factory.mktemp("pair")
    found = []
    for name, reps in (("T01", 2), ("E01", 1)):
        outcome = record_trial(
            f"virtual:?trainee={name}&seed=3&reps={reps}&speed=max",
            folder / f"{name}.h5",
            rig=default_rig(),
            target_json=Target().to_json(),
            label=TrialLabel(person=name),
        )
        found.append(analyse(read_recording(outcome.path)))
    return found


@pytest.fixture
def review(qtbot: QtBot, tmp_path: Path) -> Iterator[Review]:
    """Return a maker of review windows that do not play by themselves."""
    made: list[ReviewWindow] = []

    def make(trials: list[Trial], memory: Memory | None = None) -> ReviewWindow:
        window = ReviewWindow(trials, out_dir=tmp_path, memory=memory)
        window._timer.stop()
        qtbot.addWidget(window)
        window.show()
        made.append(window)
        return window

    yield make
    for window in made:
        window.close()


def height_deg(window: ReviewWindow, side: int) -> float:
    playback = window.sides[side].playback
    series = playback.trial.series
    return float(np.interp(playback.position_s, series.time_s, np.rad2deg(series.elevation_rad)))


def test_it_opens_at_the_first_repetition_with_its_criteria(
    review: Review, pair: list[Trial]
) -> None:
    window = review(pair[:1])
    start = pair[0].repetitions[0].spans.raising.start

    at_s = window.sides[0].playback.position_s
    assert at_s == pytest.approx(pair[0].series.time_s[start] - RUN_UP_S)
    detail = window.sides[0].repetitions.detail
    assert detail.startswith("▲ Your hand slips upward")
    assert "✗ upward push" in detail


def test_arrows_step_and_go_from_repetition_to_repetition(
    review: Review, pair: list[Trial]
) -> None:
    window = review(pair[:1])
    playback = window.sides[0].playback
    before = playback.position_s

    QTest.keyClick(window, Qt.Key.Key_Right)
    assert playback.position_s == pytest.approx(before + FINE_S)
    QTest.keyClick(window, Qt.Key.Key_Down)

    second = pair[0].repetitions[1].spans.raising.start
    assert playback.position_s == pytest.approx(pair[0].series.time_s[second] - RUN_UP_S)
    found = playback.repetition()
    assert found is not None
    assert found.number == 2


def test_the_scrubber_is_the_whole_recording(review: Review, pair: list[Trial]) -> None:
    window = review(pair[:1])
    scrubber, series = window.scrubber, pair[0].series
    middle = QPoint(scrubber.width() // 2, scrubber.height() // 2)

    QTest.mouseClick(scrubber, Qt.MouseButton.LeftButton, pos=middle)
    halfway = window.sides[0].playback.position_s
    QTest.mouseClick(scrubber, Qt.MouseButton.LeftButton, pos=QPoint(int(MARGIN) - 5, 10))

    step_s = series.time_s[-1] / (scrubber.width() - 2 * MARGIN)
    assert halfway == pytest.approx((series.time_s[0] + series.time_s[-1]) / 2, abs=2 * step_s)
    assert window.sides[0].playback.position_s == series.time_s[0]


def test_space_plays_and_stops_and_the_end_stops_too(review: Review, pair: list[Trial]) -> None:
    window = review(pair[:1])
    playback = window.sides[0].playback
    before = playback.position_s

    QTest.keyClick(window, Qt.Key.Key_Space)
    window._tick()
    moved = playback.position_s
    QTest.keyClick(window, Qt.Key.Key_Space)
    window._tick()
    stopped = playback.position_s
    window.jump(1e6)
    QTest.keyClick(window, Qt.Key.Key_Space)  # at the end it begins again
    begun = playback.position_s
    window.jump(1e6)
    window._tick()

    assert moved > before
    assert stopped == moved
    assert begun < 1.0
    assert not window.playing


def test_two_recordings_show_the_same_elevation(review: Review, pair: list[Trial]) -> None:
    window = review(pair)
    span = pair[0].repetitions[0].spans.raising
    for row in np.linspace(span.start + 1500, span.stop - 1500, 5).astype(int):
        window.jump(float(pair[0].series.time_s[row]))

        assert height_deg(window, 1) == pytest.approx(height_deg(window, 0), abs=0.5)


def test_played_side_by_side_they_stay_level(review: Review, pair: list[Trial]) -> None:
    window = review(pair)
    window.play_or_pause()
    differences = []
    for _ in range(200):
        window._tick()
        if height_deg(window, 0) > 10.0:
            differences.append(abs(height_deg(window, 0) - height_deg(window, 1)))

    assert len(differences) > 50
    assert max(differences) < 1.0


def test_the_views_show_what_is_there_at_that_time(review: Review, pair: list[Trial]) -> None:
    window = review(pair)
    span = pair[0].repetitions[0].spans.raising
    window.jump(float(pair[0].series.time_s[(span.start + 3 * span.stop) // 4]))
    window.refresh()

    said = [line.text() for line in window.findChildren(VerdictLine)]
    assert said[0] == "▲ less upward: push lower"
    assert said[1] == "● on target: keep it"


def test_a_picture_is_saved_as_pixels_and_as_lines(
    review: Review, pair: list[Trial], tmp_path: Path
) -> None:
    window = review(pair[:1])

    QTest.keyClick(window, Qt.Key.Key_S)

    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".pdf", ".png"]
    assert "picture saved" in window._message.text()


def test_the_viewpoint_is_the_one_remembered(review: Review, pair: list[Trial]) -> None:
    memory = Memory()
    window = review(pair[:1], memory)

    QTest.keyClick(window, Qt.Key.Key_V)

    assert memory.now.front


def test_a_recording_without_repetitions_is_shown_and_says_so(
    review: Review, pair: list[Trial]
) -> None:
    window = review([replace(pair[0], repetitions=())])
    window.jump(5.0)
    window.refresh()

    assert "No repetition was found" in window.sides[0].repetitions.detail


def test_everything_in_the_window_has_a_name_for_those_who_hear_it(
    review: Review, pair: list[Trial]
) -> None:
    window = review(pair)

    maps, dials = window.findChildren(MapView), window.findChildren(ArcDial)
    names = [view.accessibleName() for view in maps] + [view.accessibleName() for view in dials]
    assert len(names) == 4
    assert all(names)
    assert window.scrubber.accessibleName()


def test_each_column_keeps_the_highest_and_what_is_unknown_lies_at_nought() -> None:
    values = np.array([1.0, 5.0, np.nan, np.nan, 2.0, np.nan])

    assert highest_in_columns(values, 3).tolist() == [5.0, 0.0, 2.0]
    assert highest_in_columns(values, 100).tolist() == [1.0, 5.0, 0.0, 0.0, 2.0, 0.0]


def test_a_change_of_look_keeps_the_place(review: Review, pair: list[Trial]) -> None:
    window = review(pair)
    window.jump(12.0)

    QTest.keyClick(window, Qt.Key.Key_D, Qt.KeyboardModifier.ControlModifier)
    QTest.keyClick(window, Qt.Key.Key_Plus, Qt.KeyboardModifier.ControlModifier)

    assert window.sides[0].playback.position_s == pytest.approx(12.0)
    assert look.PAPER.lightnessF() < 0.3
    assert look.text_scale() == pytest.approx(1.1)
