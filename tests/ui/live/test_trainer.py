"""What the trainer shows, second by second, of an invented trainee."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from analysis.target import Target
from ui.live.phases import MovementPhase
from ui.live.push import PushState
from ui.live.traces import COLUMNS
from ui.live.verdict import Tone

Maker = Callable[..., Any]
UPWARD = "virtual:?trainee=T01&seed=7"


def test_it_waits_for_a_zero_before_it_shows_a_force(bench: Maker) -> None:
    looks = bench(UPWARD).go_on(0.8)

    assert looks.moment.state is PushState.NO_ZERO
    assert np.isnan(looks.force.force_n)
    assert "hand away" in looks.verdict.text


def test_hands_off_is_not_a_direction(bench: Maker) -> None:
    looks = bench(UPWARD).go_on(3.0)

    assert looks.moment.state is PushState.NO_CONTACT
    assert looks.force.word == "hand away"
    assert np.isnan(looks.map.point_deg).all()
    assert len(looks.map.trail_deg) == 0


def test_a_light_touch_is_too_light_to_tell(bench: Maker) -> None:
    one = bench("virtual:?trainee=T06&seed=7", Target(direction_u_limit_deg=1.0))
    states = {one.go_on(0.1).moment.state for _ in range(70)}

    assert PushState.TOO_LIGHT in states
    assert PushState.NO_HEADING not in states


def test_an_upward_slip_is_shown_with_its_uncertainty(bench: Maker) -> None:
    looks = bench(UPWARD).go_on(14.0)

    assert looks.moment.state is PushState.DIRECTION
    assert looks.superior.over
    assert looks.superior.angle_deg > 8.0
    assert 0.3 < looks.superior.u_deg < 2.0
    assert looks.verdict.tone is Tone.CHANGE
    assert "upward" in looks.verdict.text
    assert looks.elevation.phase is MovementPhase.RAISE
    assert not looks.map.inside


def test_the_trail_ends_where_the_point_is(bench: Maker) -> None:
    looks = bench(UPWARD).go_on(14.0)

    assert 10 < len(looks.map.trail_deg) <= 20
    assert (np.diff(looks.map.trail_age_s) < 0.0).all()
    assert np.hypot(*(looks.map.trail_deg[-1] - looks.map.point_deg)) < 2.0


def test_a_steady_expert_is_on_target(bench: Maker) -> None:
    looks = bench("virtual:?trainee=E01&seed=7").go_on(14.0)

    assert looks.verdict.tone is Tone.GOOD
    assert looks.map.inside
    assert np.hypot(*looks.map.point_deg) < 5.0


def test_a_load_cell_that_falls_silent_is_told_and_nothing_old_is_taken_for_new(
    bench: Maker,
) -> None:
    one = bench("virtual:?trainee=E01&seed=7&faults=converter:10")
    before = one.go_on(9.0)
    after = one.go_on(4.0)

    assert before.health.well
    assert not after.health.well
    assert after.health.trouble
    assert after.health.banner == "nothing comes of force: look at its cable"
    assert after.moment.feed.silent


def test_letting_go_with_the_arm_up_is_told(bench: Maker) -> None:
    one = bench("virtual:?trainee=T03&seed=7")
    texts = [one.go_on(0.2).verdict.text for _ in range(140)]

    assert "keep the hand on until the arm is down" in texts


def test_a_fast_arm_is_told(bench: Maker) -> None:
    one = bench("virtual:?trainee=T04&seed=7")
    looks = [one.go_on(0.1) for _ in range(100)]

    assert any(look.elevation.too_fast for look in looks)
    assert "slower" in [look.verdict.text for look in looks]


def test_silence_is_no_data_and_never_a_frozen_number(bench: Maker) -> None:
    one = bench(UPWARD + "&faults=silence:12")

    looks = one.go_on(12.5)

    assert looks.moment.state is PushState.NO_DATA
    numbers = (looks.force.force_n, looks.superior.angle_deg, looks.elevation.elevation_deg)
    assert np.isnan(numbers).all()
    assert np.isnan(looks.elevation.speed_deg_s)
    assert len(looks.map.trail_deg) == 0
    assert not looks.health.well
    assert looks.traces.time_s[-1] < -0.4


def test_a_channel_at_its_rail_is_saturated(bench: Maker) -> None:
    looks = bench(UPWARD + "&faults=saturate:12").go_on(12.6)

    assert looks.moment.state is PushState.SATURATED
    assert looks.verdict.tone is Tone.CHANGE
    assert np.isnan(looks.force.force_n)


def test_a_rig_that_restarts_is_zeroed_anew(bench: Maker) -> None:
    one = bench(UPWARD + "&faults=restart:5")
    one.go_on(4.8)
    assert one.feed.state().zeroed

    states = [one.go_on(0.1).moment.state for _ in range(30)]

    assert states.index(PushState.NO_DATA) < states.index(PushState.NO_ZERO)
    assert one.feed.state().health.segment == 1


def test_a_finished_repetition_is_counted(bench: Maker) -> None:
    looks = bench(UPWARD + "&reps=1").go_on(40.0)

    assert looks.elevation.repetitions == 1
    assert looks.elevation.phase is MovementPhase.HOME


def test_traces_have_as_many_points_as_columns_whatever_came(bench: Maker) -> None:
    looks = bench(UPWARD).go_on(6.0)

    assert looks.traces.force_n.shape == (COLUMNS, 2)
    known = np.isfinite(looks.traces.force_n[:, 0])
    assert 60 < known.sum() < 130
    assert (looks.traces.force_n[known, 0] <= looks.traces.force_n[known, 1]).all()


def test_an_event_is_placed_on_the_time_axis_of_the_push(bench: Maker) -> None:
    """The rows of now are those of `delay_s` ago; a block waits up to 20 ms to be full."""
    one = bench(UPWARD)
    looks = one.go_on(6.0)

    at_s = one.feed.note_event("mark", "now")

    newest_s = looks.moment.recent[-1].time_s[-1]
    assert newest_s < at_s < newest_s + 0.15
    one.go_on(0.5)
    assert one.feed.note_event("mark", "later") - at_s == pytest.approx(0.5, abs=0.005)


def test_a_second_cell_is_followed_too(bench: Maker) -> None:
    """E01's other hand holds the block with 18 N from before the arm leaves home."""
    looks = bench("virtual:?trainee=E01&seed=7&stabiliser=1").go_on(12.0)

    rows = looks.moment.recent[-1]
    assert rows.stabiliser_on.all()
    assert rows.stabiliser_n == pytest.approx(18.0, abs=2.0)
    assert looks.moment.state is PushState.DIRECTION
