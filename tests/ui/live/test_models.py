"""What each model says of a push that stays the same."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from acquisition.health import Health, LinkState
from acquisition.recording.model import LinkCounts
from analysis.target import Target
from ui.live.elevation import ElevationModel
from ui.live.force_band import ForceBandModel
from ui.live.line_health import HealthModel
from ui.live.moment import Moment, moment_of
from ui.live.push import PushState
from ui.live.superior import SuperiorModel
from ui.live.verdict import CALM_S, Tone, VerdictModel, verdict_of

Maker = Callable[..., Moment]
D = Target().direction


def pushed(size_n: float, azimuth_deg: float = 30.0, superior_deg: float = -5.0) -> Any:
    azimuth, superior = np.deg2rad([azimuth_deg, superior_deg])
    return size_n * np.array(
        [
            -np.cos(superior) * np.cos(azimuth),
            np.sin(superior),
            np.cos(superior) * np.sin(azimuth),
        ]
    )


@pytest.mark.parametrize(
    ("changes", "state"),
    [
        ({}, PushState.DIRECTION),
        ({"directed": False, "u_deg": (6.0, 5.0)}, PushState.TOO_LIGHT),
        ({"directed": False, "u_deg": (6.0, 0.6)}, PushState.NO_HEADING),
        ({"contact": False, "directed": False}, PushState.NO_CONTACT),
    ],
)
def test_what_can_be_said_of_a_push(
    moment: Maker, changes: dict[str, Any], state: PushState
) -> None:
    assert moment(40.0 * D, **changes).state is state


def test_an_unzeroed_or_silent_feed_says_nothing_of_the_push(
    moment: Maker, well: Callable[..., Any]
) -> None:
    assert moment(40.0 * D, feed=well(zeroed=False)).state is PushState.NO_ZERO
    old = moment(40.0 * D, feed=well(age_s=0.16))
    assert old.state is PushState.NO_DATA
    assert math.isnan(old.push.magnitude_n)


def test_an_aged_heading_leaves_the_upward_part_known(moment: Maker) -> None:
    """By the definitions: superior angle = atan2(Fy, horizontal), which no turn about Y changes."""
    now = moment(pushed(40.0, superior_deg=8.0), directed=False, u_deg=(6.0, 0.6))

    look = SuperiorModel().look(now)

    assert look.angle_deg == pytest.approx(8.0)
    assert look.force_n == pytest.approx(40.0 * math.sin(math.radians(8.0)))
    assert np.isnan(now.push.map_deg).all()


@pytest.mark.parametrize(("superior_deg", "over"), [(1.9, False), (2.1, True), (-8.0, False)])
def test_upward_is_judged_by_the_limit(moment: Maker, superior_deg: float, over: bool) -> None:
    assert SuperiorModel().look(moment(pushed(40.0, superior_deg=superior_deg))).over is over


@pytest.mark.parametrize(
    ("size_n", "word"), [(12.0, "below the band"), (40.0, "in the band"), (61.0, "above the band")]
)
def test_force_is_judged_by_the_band(moment: Maker, size_n: float, word: str) -> None:
    look = ForceBandModel().look(moment(size_n * D))

    assert look.force_n == pytest.approx(size_n)
    assert look.word == word
    assert look.outside is (word != "in the band")


@pytest.mark.parametrize(
    ("tremble_n", "word"), [(4.0, "in the band"), (9.0, "in the band, unsteady")]
)
def test_a_force_that_trembles_more_than_allowed_is_unsteady_in_its_band(
    moment: Maker, tremble_n: float, word: str
) -> None:
    """Of 40 N 15 % is 6 N; a sine of 9 N has an SD of 6.4, one of 4 N of 2.8."""
    steady = moment(40.0 * D, seconds=1.5)
    series = steady.recent[0]
    size_n = 40.0 + tremble_n * np.sin(2.0 * np.pi * 8.0 * series.time_s)
    trembling = replace(series, force_n=size_n[:, np.newaxis] * D)
    now = replace(steady, new=trembling, recent=(trembling,))

    look = ForceBandModel().look(now)

    assert look.word == word
    assert look.spread_n == pytest.approx(
        (40.0 - math.sqrt(2.0) * tremble_n, 40.0 + math.sqrt(2.0) * tremble_n), rel=0.03
    )
    assert ("steadier" in verdict_of(now).text) is ("unsteady" in word)


def test_a_force_that_rises_evenly_is_not_unsteady(moment: Maker) -> None:
    steady = moment(40.0 * D, seconds=1.5)
    series = steady.recent[0]
    size_n = 30.0 + 20.0 * (series.time_s - series.time_s[0])
    rising = replace(series, force_n=size_n[:, np.newaxis] * D)
    now = replace(steady, new=rising, recent=(rising,))

    assert ForceBandModel().look(now).word == "in the band"


def test_speed_is_judged_both_ways(moment: Maker) -> None:
    assert ElevationModel().look(moment(40.0 * D, speed_deg_s=-31.0)).too_fast
    assert not ElevationModel().look(moment(40.0 * D, speed_deg_s=-29.0)).too_fast


@pytest.mark.parametrize(
    ("push", "changes", "text"),
    [
        (pushed(80.0, azimuth_deg=80.0, superior_deg=9.0), {"speed_deg_s": 50.0}, "less upward"),
        (pushed(80.0, azimuth_deg=60.0), {}, "less lateral"),
        (pushed(80.0, azimuth_deg=0.0), {}, "more lateral"),
        (pushed(80.0, superior_deg=-25.0), {}, "too far down"),
        (pushed(80.0), {}, "press more lightly"),
        (pushed(10.0), {}, "press harder"),
        (pushed(80.0, azimuth_deg=60.0), {"speed_deg_s": 50.0}, "slower"),
        (pushed(40.0), {}, "on target"),
    ],
)
def test_one_thing_to_change_in_the_order_of_the_criteria(
    moment: Maker, push: Any, changes: dict[str, Any], text: str
) -> None:
    found = verdict_of(moment(push, **changes))

    assert found.text.startswith(text)
    assert found.tone is (Tone.GOOD if text == "on target" else Tone.CHANGE)


def test_letting_go_is_told_only_while_the_arm_is_up(moment: Maker) -> None:
    away = {"contact": False, "directed": False}

    assert "keep the hand on" in verdict_of(moment(0.0 * D, elevation_deg=40.0, **away)).text
    assert verdict_of(moment(0.0 * D, elevation_deg=1.0, **away)).text == "put the hand on"


def test_words_do_not_flicker_at_a_limit(
    steady: Callable[..., Any], well: Callable[..., Any]
) -> None:
    model, target = VerdictModel(), Target()
    tones = []
    for i in range(20):
        push = pushed(40.0, superior_deg=2.0 + (0.5 if i % 2 else -0.5))
        series = steady(push, seconds=0.1, start_s=0.1 * i)
        tones.append(model.look(moment_of(target, series, (series,), well())).tone)
    series = steady(pushed(40.0, superior_deg=5.0), seconds=0.1, start_s=2.0)
    model.look(moment_of(target, series, (series,), well()))
    series = steady(pushed(40.0, superior_deg=5.0), seconds=0.1, start_s=2.0 + CALM_S)

    after = model.look(moment_of(target, series, (series,), well()))

    assert set(tones) == {Tone.GOOD}
    assert after.tone is Tone.CHANGE


def test_every_lost_sample_is_in_the_line(moment: Maker, well: Callable[..., Any]) -> None:
    counts = LinkCounts(lost_samples=23, rig_overrun_samples=20, dropped_by_host_samples=100)
    health = Health(LinkState.STREAMING, "rig", 0.012, counts, {"force": 999.6}, 0, "")

    look = HealthModel().look(moment(40.0 * D, feed=well(health=health, missed=1000)))

    assert look.line == "streaming · newest 12 ms old · 1000 Hz · 1123 lost · heading 3 s old"
    assert not look.well


def test_a_lost_line_is_trouble(moment: Maker, well: Callable[..., Any]) -> None:
    health = Health(LinkState.LOST, "rig", 4.0, LinkCounts(), {}, 0, "the cable is pulled")
    look = HealthModel().look(
        moment(40.0 * D, feed=well(health=health, age_s=4.0, message="x", trouble=True))
    )

    assert look.line.startswith("lost · newest 4 s old")
    assert look.trouble
    assert not look.well
