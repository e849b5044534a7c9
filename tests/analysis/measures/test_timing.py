"""Measures of a whole repetition: times, speeds, smoothness and the release."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from analysis.measure_settings import MeasureSettings
from analysis.target import Target

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
Lift = Callable[..., Floats]

FS_HZ = 200.0
FIVE_PERCENT = 0.0594345
"""Share of a minimum-jerk movement's duration at whose end its speed is 5 % of the peak."""


def along(size_n: Floats) -> Floats:
    return np.asarray(size_n[:, np.newaxis] * Target().direction)


def test_a_repetition_has_its_times_and_its_top(make: Maker) -> None:
    """2 s rest, 6 s up, 1 s top, 6 s down, 2 s rest; 150°."""
    made = make()

    assert made.whole("side") == "left"
    assert made.whole("complete") is True
    assert made.whole("start_s") == pytest.approx(2.0 + 6.0 * FIVE_PERCENT, abs=0.03)
    assert made.whole("top_s") == pytest.approx(8.5, abs=0.01)
    assert made.whole("end_s") == pytest.approx(15.0 - 6.0 * FIVE_PERCENT, abs=0.03)
    assert made.whole("elevation_top_deg") == pytest.approx(150.0)
    # 3° below the top, which is the last 2 % of the way, a minimum-jerk movement has 0.1356 left.
    assert made.whole("raise_duration_s") == pytest.approx(6.0 * (1 - 0.1356 - 0.0594), abs=0.05)
    assert made.whole("lower_duration_s") == pytest.approx(6.0 * (1 - 0.1356 - 0.0594), abs=0.05)


def test_speed_has_its_peak_and_its_mean(make: Maker) -> None:
    """The peak of a minimum-jerk movement is 1.875 times its mean speed, here 25°/s."""
    made = make()

    assert made.whole("elevation_speed_peak_deg_s") == pytest.approx(1.875 * 25.0, abs=0.05)
    travelled = made.whole("elevation_speed_mean_deg_s") * made.whole("raise_duration_s")
    assert travelled == pytest.approx(147.0 - 0.3, abs=0.3)


@pytest.mark.parametrize("seconds", [2.0, 6.0, 15.0])
def test_a_minimum_jerk_movement_is_as_smooth_however_long_it_takes(
    make: Maker, lift: Lift, seconds: float
) -> None:
    """−1.41 (grid of the spectrum ± 0.01), and −4.408 from and to 5 % of the peak speed.

    The latter in closed form: −ln(d³·∫j²dτ/1.875²) over the middle d = 0.8811 of the movement.
    """
    made = make(arc=lift(up_s=seconds, down_s=seconds))

    assert made.whole("smoothness_sparc") == pytest.approx(-1.408, abs=0.02)
    assert made.whole("smoothness_ldlj") == pytest.approx(-4.408, abs=0.1)


def test_a_pause_on_the_way_is_less_smooth(make: Maker, elevation: Floats) -> None:
    smooth = make()
    half = int(np.argmax(elevation > 60.0))
    paused = make(arc=np.concatenate([elevation[:half], np.full(300, 60.0), elevation[half:]]))

    assert paused.whole("smoothness_sparc") < smooth.whole("smoothness_sparc") - 0.1
    assert paused.whole("smoothness_ldlj") < smooth.whole("smoothness_ldlj") - 0.5


def test_a_speed_that_never_changes_has_no_jerk_and_breaks_nothing(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def level(view: Any) -> Floats:
        return np.ones(len(view.spans.movement))

    monkeypatch.setattr("analysis.measures.timing._calm_speed", level)
    made = make()

    assert made.whole("smoothness_ldlj") is None
    assert "never changes" in made.whole_reason("smoothness_ldlj")


def test_the_time_to_hold_runs_from_touch_to_band(make: Maker, elevation: Floats) -> None:
    """Touch at 5 N, 20 N a second: from 5 to 20 N it takes 0.75 s."""
    time_s = np.arange(len(elevation)) / FS_HZ
    size = np.clip(20.0 * (time_s - 0.5), 0.0, 40.0)

    assert make(along(size)).whole("time_to_hold_s") == pytest.approx(0.75, abs=0.01)


def test_a_hand_that_was_on_before_has_no_touch(make: Maker) -> None:
    made = make()

    assert made.whole("time_to_hold_s") is None
    assert "no touch" in made.whole_reason("time_to_hold_s")


def test_a_touch_behind_a_gap_was_not_seen(make: Maker, elevation: Floats) -> None:
    push = along(np.full(len(elevation), 40.0))
    push[100:300] = np.nan

    made = make(push, directed=np.isfinite(push[:, 0]))

    assert "not known when the hand touched" in made.whole_reason("time_to_hold_s")


def test_a_force_below_the_band_never_reached_it(make: Maker, elevation: Floats) -> None:
    size = np.where(np.arange(len(elevation)) > 100, 15.0, 0.0)

    assert "never reached the band" in make(along(size)).whole_reason("time_to_hold_s")


@pytest.mark.parametrize(("at_deg", "early"), [(90.0, True), (6.0, True), (4.0, False)])
def test_a_release_on_the_way_down_is_early_above_five_degrees(
    make: Maker, elevation: Floats, at_deg: float, early: bool
) -> None:
    behind_the_top = np.arange(len(elevation)) > np.argmax(elevation)
    size = np.where(behind_the_top & (elevation < at_deg), 0.0, 40.0)

    made = make(along(size))

    assert made.whole("released_before_down") is early
    assert made.whole("release_elevation_deg") == pytest.approx(at_deg, abs=0.3)


def test_how_sure_the_elevation_at_release_is(make: Maker, elevation: Floats) -> None:
    """Against drawing the two inputs: a zero that is off, and an inclination that is."""
    count, lower = len(elevation), int(np.argmax(elevation)) + 400
    letting_go = np.clip(1.0 - (np.arange(count) - lower) / 200.0, 0.0, 1.0)
    draws = stats.norm.ppf((np.arange(100) + 0.5) / 100)
    other = np.random.default_rng(1).permutation(draws)

    made = make(along(40.0 * letting_go))
    u_deg = made.whole_number("release_elevation_u_deg")

    force_u, tilt_u = made.number("force_u_N"), made.whole_number("elevation_top_u_deg")
    seen = [
        make(along(40.0 * letting_go + off)).whole_number("release_elevation_deg") + tilt
        for off, tilt in zip(force_u * draws, tilt_u * other, strict=True)
    ]
    assert u_deg == pytest.approx(np.std(seen), rel=0.1)
    assert u_deg > 1.05 * tilt_u


def test_a_release_at_home_is_not_early(make: Maker, elevation: Floats) -> None:
    size = np.where(np.arange(len(elevation)) < len(elevation) - 100, 40.0, 0.0)

    made = make(along(size))

    assert made.whole("released_before_down") is False
    assert made.whole("release_elevation_deg") == pytest.approx(0.0, abs=0.1)


def test_what_counts_as_down_can_be_set(make: Maker, elevation: Floats) -> None:
    behind_the_top = np.arange(len(elevation)) > np.argmax(elevation)
    size = np.where(behind_the_top & (elevation < 10.0), 0.0, 40.0)

    made = make(along(size), settings=MeasureSettings(down_deg=12.0))

    assert made.whole("released_before_down") is False


def test_a_hand_that_stays_on_did_not_let_go(make: Maker) -> None:
    made = make()

    assert made.whole("released_before_down") is False
    assert "did not let go" in made.whole_reason("release_elevation_deg")


def test_a_hand_that_goes_out_of_sight_did_not_let_go_either(
    make: Maker, elevation: Floats
) -> None:
    """The force is lost from 90° on the way down to the end: nobody knows of a release."""
    push = along(np.full(len(elevation), 40.0))
    behind_the_top = np.arange(len(elevation)) > np.argmax(elevation)
    push[behind_the_top & (elevation < 90.0)] = np.nan

    made = make(push, directed=np.isfinite(push[:, 0]))

    assert made.whole("released_before_down") is None
    assert "may have let go" in made.whole_reason("released_before_down")


def test_no_hand_lets_go_of_nothing(make: Maker, elevation: Floats) -> None:
    made = make(along(np.zeros(len(elevation))))

    for key in ("time_to_hold_s", "released_before_down", "release_elevation_deg"):
        assert "never on" in made.whole_reason(key)


def test_an_unfinished_repetition_has_what_was_seen_of_it(make: Maker, elevation: Floats) -> None:
    """Cut off on the way down: the top was seen, the end was not."""
    made = make(arc=elevation[:2200])

    assert made.whole("complete") is False
    assert made.whole("elevation_top_deg") == pytest.approx(150.0)
    assert made.whole("top_s") == pytest.approx(8.5, abs=0.01)
    for key in ("end_s", "raise_duration_s", "smoothness_sparc", "released_before_down"):
        assert made.whole(key) is None
        assert "unfinished" in made.whole_reason(key)


def test_an_arm_that_was_still_rising_may_have_gone_higher(make: Maker, elevation: Floats) -> None:
    made = make(arc=elevation[:1000])

    for key in ("elevation_top_deg", "top_s"):
        assert made.whole(key) is None
        assert "may have gone higher" in made.whole_reason(key)
    assert made.whole("elevation_speed_peak_deg_s") > 40.0


def test_smoothness_does_not_step_over_a_gap(make: Maker, elevation: Floats) -> None:
    arc = elevation.copy()
    arc[1000:1020] = np.nan

    made = make(arc=arc)

    assert made.whole("complete") is True
    assert made.whole("raise_duration_s") is not None
    for key in ("smoothness_sparc", "smoothness_ldlj"):
        assert "gaps" in made.whole_reason(key)
