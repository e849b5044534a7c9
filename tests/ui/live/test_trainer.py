"""What the trainer shows, second by second, of an invented trainee."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from acquisition.recording.reader import read_recording
from ui.live.phases import MovementPhase
from ui.live.screen import TRACE_COLUMNS, PushState

Maker = Callable[[str], Any]
UPWARD = "virtual:?trainee=T01&seed=7"


def test_it_waits_for_a_zero_before_it_shows_a_force(bench: Maker) -> None:
    picture = bench(UPWARD).go_on(0.8)

    assert picture.state is PushState.NO_ZERO
    assert np.isnan(picture.force_n)


def test_hands_off_is_not_a_direction(bench: Maker) -> None:
    picture = bench(UPWARD).go_on(3.0)

    assert picture.state is PushState.NO_CONTACT
    assert np.isnan(picture.map_deg).all()
    assert len(picture.trail_deg) == 0


def test_an_upward_slip_is_shown_with_its_uncertainty(bench: Maker) -> None:
    picture = bench(UPWARD).go_on(14.0)

    assert picture.state is PushState.DIRECTION
    assert not picture.on_target
    assert picture.superior_deg > 8.0
    assert 0.3 < picture.superior_u_deg < 2.0
    assert picture.phase is MovementPhase.RAISE
    assert len(picture.trail_deg) > 20


def test_a_steady_expert_is_on_target(bench: Maker) -> None:
    picture = bench("virtual:?trainee=E01&seed=7").go_on(14.0)

    assert picture.on_target
    assert np.hypot(*picture.map_deg) < 5.0


def test_silence_is_no_data_and_never_a_frozen_number(bench: Maker) -> None:
    one = bench(UPWARD + "&faults=silence:12")

    picture = one.go_on(12.5)

    assert picture.state is PushState.NO_DATA
    assert picture.feed.silent
    assert np.isnan(
        [picture.force_n, picture.superior_deg, picture.elevation_deg, picture.speed_deg_s]
    ).all()


def test_a_finished_repetition_is_counted(bench: Maker) -> None:
    picture = bench(UPWARD + "&reps=1").go_on(30.0)

    assert picture.repetitions == 1
    assert picture.phase is MovementPhase.HOME


def test_traces_have_as_many_points_as_columns_whatever_came(bench: Maker) -> None:
    picture = bench(UPWARD).go_on(6.0)

    assert picture.trace_force_n.shape == (TRACE_COLUMNS, 2)
    known = np.isfinite(picture.trace_force_n[:, 0])
    assert (picture.trace_force_n[known, 0] <= picture.trace_force_n[known, 1]).all()


def test_a_recording_from_the_screen_reads_back(bench: Maker) -> None:
    one = bench(UPWARD)
    one.go_on(1.0)
    one.feed.toggle_recording()
    during = one.go_on(2.0)
    one.feed.mark("here")
    one.go_on(0.5)

    one.feed.toggle_recording()

    after = one.feed.state()
    assert during.feed.recording is not None
    assert after.recording is None
    assert after.message.startswith("saved and checked")
    recording = read_recording(during.feed.recording)
    assert len(recording.streams["force"].counts) > 2000
    assert recording.label.person == "T01"
    assert [event.kind for event in recording.events] == ["mark"]


def test_a_zero_with_a_hand_on_is_refused_in_words(bench: Maker) -> None:
    one = bench(UPWARD)
    one.go_on(6.5)

    one.feed.zero()

    assert one.feed.state().message.startswith("no zero: the force is not still")


def test_a_zero_at_rest_is_taken_and_noted_in_the_recording(bench: Maker) -> None:
    one = bench(UPWARD)
    one.go_on(2.5)
    one.feed.toggle_recording()
    one.go_on(0.5)

    one.feed.zero()

    assert one.feed.state().message == "zero taken"
    path = one.go_on(0.3).feed.recording
    one.feed.toggle_recording()
    assert [event.kind for event in read_recording(path).events] == ["zero"]


def test_closing_ends_a_recording_properly(bench: Maker) -> None:
    one = bench(UPWARD)
    one.go_on(1.0)
    one.feed.toggle_recording()
    path = one.go_on(1.0).feed.recording

    one.feed.close()
    one.feed.close()

    assert read_recording(path).status == "complete"
