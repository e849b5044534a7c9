"""Looking at a recording as at a rig."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.series import joined
from analysis.trial import Trial
from ui.live.arc import ArcModel, Hold
from ui.live.moment import Moment
from ui.live.phases import MovementPhase
from ui.live.playback import RUN_UP_S, Playback
from ui.live.push import PushState


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


def raised_s(trial: Trial) -> float:
    """In the middle of the raise."""
    span = trial.repetitions[0].spans.raising
    return float(trial.series.time_s[(span.start + span.stop) // 2])


def test_playing_on_shows_every_row_once_and_in_order(trial: Trial) -> None:
    playback = Playback(trial)
    seen: list[Moment] = []

    while not playback.at_end:
        playback.advance(0.7)
        seen += playback.take()[1]

    rows = joined([one.new for one in seen if one.new is not None])
    assert rows is not None
    assert np.array_equal(rows.time_s, trial.series.time_s)


def test_only_a_jump_begins_anew(trial: Trial) -> None:
    playback = Playback(trial)
    begun = [playback.take()[0]]
    playback.advance(1.0)
    begun.append(playback.take()[0])
    playback.jump(2.0)
    begun.append(playback.take()[0])

    assert begun == [True, False, True]


def test_where_nothing_changed_there_is_nothing_to_look_at(trial: Trial) -> None:
    playback = Playback(trial)
    playback.take()

    assert playback.take() == (False, [])


def test_what_is_shown_is_what_the_recording_says_of_that_time(trial: Trial) -> None:
    playback = Playback(trial)
    playback.jump(raised_s(trial))

    moment = playback.take()[1][-1]

    row = int(np.searchsorted(trial.series.time_s, raised_s(trial)))
    near = slice(row - 50, row + 1)
    assert moment.state is PushState.DIRECTION
    assert moment.push.magnitude_n == pytest.approx(trial.series.magnitude_n[near].mean(), rel=0.01)
    assert moment.push.superior_deg == pytest.approx(
        np.rad2deg(trial.series.superior_angle_rad[near].mean()), abs=0.1
    )


def test_a_jump_into_a_raise_knows_the_raise_and_what_of_it_was_held(trial: Trial) -> None:
    playback, model = Playback(trial), ArcModel()
    playback.jump(raised_s(trial))

    look = [model.look(moment) for moment in playback.take()[1]][-1]

    assert look.phase is MovementPhase.RAISE
    assert {Hold.GOOD, Hold.BAD} <= set(look.raising)  # this trainee's hand slips on the way
    assert set(look.lowering) == {Hold.NOT_YET}


def test_outside_a_repetition_a_jump_shows_the_last_seconds(trial: Trial) -> None:
    playback = Playback(trial)
    playback.jump(3.5)

    moments = playback.take()[1]

    first = moments[0].new
    assert first is not None
    assert first.time_s[0] == pytest.approx(3.5 - RUN_UP_S, abs=0.01)


def test_a_jump_beyond_the_ends_stands_at_them(trial: Trial) -> None:
    playback = Playback(trial)

    playback.jump(1e6)
    assert playback.at_end
    playback.jump(-5.0)
    assert playback.position_s == trial.series.time_s[0]
    assert len(playback.take()[1]) == 1
