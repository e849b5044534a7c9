"""Intervals of measures: that they hold what they promise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal, stats

from analysis.directions import unit_vectors
from analysis.measure_settings import MeasureSettings
from analysis.measures import PHASE_MEASURES, measure_repetitions
from analysis.measures.intervals import intervals_of
from analysis.measures.phase_view import PhaseView
from analysis.repetitions import find_repetitions
from analysis.target import Target
from analysis.trial import PhaseName
from analysis.vectors import angle_between

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
MOVING = {
    "force_mean_N", "force_cv_percent", "glide_mean_N", "superior_force_mean_N",
    "azimuth_mean_deg", "superior_angle_mean_deg", "off_axis_mean_deg",
    "superior_drift_deg_per_10deg",
}  # fmt: skip
SHARES = {"on_target_percent", "hold_coverage_percent", "force_in_band_percent"}
FS_HZ = 200.0


def slow_noises(shape: tuple[int, int], *, seed: int, memory_s: float) -> Floats:
    """Return rows of noise of SD 1 that forgets itself in *memory_s*: samples hang together."""
    keep = np.exp(-1.0 / (memory_s * FS_HZ))
    drive = np.random.default_rng(seed).normal(size=shape)
    drive[:, 1:] *= np.sqrt(1.0 - keep**2)
    return np.asarray(signal.lfilter([1.0], [1.0, -keep], drive, axis=1))


def slow_noise(count: int, seed: int, memory_s: float = 0.1) -> Floats:
    """Return one row of it."""
    (row,) = slow_noises((1, count), seed=seed, memory_s=memory_s)
    return np.asarray(row)


def trembling(count: int, seed: int) -> Floats:
    """Return a push of 40 N whose size and direction change slowly at random, (n, 3)."""
    target = Target().direction
    across = np.cross(target, [0.0, 1.0, 0.0])
    size = 40.0 + 2.0 * slow_noise(count, seed)
    sideways = 0.05 * slow_noise(count, seed + 1000)
    return size[:, np.newaxis] * unit_vectors(target + sideways[:, np.newaxis] * across)


def test_every_chief_measure_has_an_interval_about_its_value_or_a_reason(
    make: Maker, elevation: Floats
) -> None:
    made = make(trembling(len(elevation), 1))

    for phase in PhaseName:
        measured = made.repetition.phases[phase]
        assert measured.intervals.keys() | measured.interval_reasons.keys() == MOVING | SHARES
        assert not measured.intervals.keys() & measured.interval_reasons.keys()
        assert measured.intervals.keys() >= MOVING
        for key, (low, high) in measured.intervals.items():
            assert low <= measured.values[key] <= high, (phase, key)
    plain = made.repetition.phases[PhaseName.RAISE].to_dict()
    assert plain["intervals"]["force_mean_N"] == pytest.approx(
        made.repetition.phases[PhaseName.RAISE].intervals["force_mean_N"]
    )


WITH_TRUTH = MOVING - {"glide_mean_N", "superior_force_mean_N"} | {"force_in_band_percent"}
SIDEWAYS, UPWARD = np.array([0.5, 0.0, np.sqrt(0.75)]), np.array([-0.08, 1.0, 0.04])
AIM = unit_vectors((Target().direction + 0.1 * SIDEWAYS)[np.newaxis])[0]


MEASURES = [measure for measure in PHASE_MEASURES if measure.key in WITH_TRUTH]


def truths(size_n: Floats) -> dict[str, float]:
    """Return what a push of so many newtons, with noise of 4 N, toward `AIM` has in the long run.

    Args:
        size_n: Shape (n,), without the noise.
    """
    band = Target().force_band
    inside = stats.norm.cdf((band.high_n - size_n) / 4.0) - stats.norm.cdf(
        (band.low_n - size_n) / 4.0
    )
    return {
        "force_mean_N": float(size_n.mean()),
        "force_cv_percent": float(100.0 * np.hypot(4.0, size_n.std()) / size_n.mean()),
        "force_in_band_percent": float(100.0 * inside.mean()),
        "azimuth_mean_deg": float(np.rad2deg(np.arctan2(AIM[2], -AIM[0]))),
        "superior_angle_mean_deg": float(np.rad2deg(np.arcsin(AIM[1]))),
        "off_axis_mean_deg": float(np.rad2deg(angle_between(AIM, Target().direction))),
        "superior_drift_deg_per_10deg": 0.0,
    }


@pytest.mark.parametrize("change_n", [0.0, 8.0])
@pytest.mark.parametrize("memory_s", [0.1, 0.5, 1.0, 2.0])
def test_they_hold_the_truth_about_as_often_as_they_say(
    series: Maker, elevation: Floats, memory_s: float, change_n: float
) -> None:
    """At every memory up to a sixth of the movement, steady and with a force that grows.

    Of 60 draws; what is withheld does not count, but is seldom more than half. A share is on or
    off, which is far from the noise that is supposed: a little less.
    """
    count, draws = len(elevation), 60
    (spans,) = find_repetitions(series(elevation))
    size = 56.0 + change_n * np.linspace(-0.5, 0.5, count)
    true = truths(size[spans.movement.slice])
    noises = slow_noises((3 * draws, count), seed=8, memory_s=memory_s).reshape(draws, 3, count)
    held: dict[str, list[bool]] = {key: [] for key in true}
    for heavier, sideways, upward in noises:
        along = AIM + 0.05 * (np.outer(sideways, SIDEWAYS) + np.outer(upward, UPWARD))
        push = (size + 4.0 * heavier)[:, np.newaxis] * unit_vectors(along)
        view = PhaseView(
            series(elevation, push), spans, PhaseName.MOVEMENT, Target(), MeasureSettings()
        )
        values = {measure.key: measure.compute(view) for measure in MEASURES}
        for key, (low, high) in intervals_of(view, values).ends.items():
            held[key].append(low <= true[key] <= high)

    for key, told in held.items():
        assert len(told) > 0.4 * draws, key
        assert np.mean(told) >= (0.82 if key in SHARES else 0.88), key


def test_a_drift_has_an_interval_that_holds_it(make: Maker, elevation: Floats) -> None:
    """1.2° in 10°, in a hand that trembles."""
    superior = np.deg2rad(-5.0 + 0.12 * elevation + 0.8 * slow_noise(len(elevation), 9))
    azimuth = np.deg2rad(30.0)
    push = 40.0 * np.stack(
        [-np.cos(superior) * np.cos(azimuth), np.sin(superior), np.cos(superior) * np.sin(azimuth)],
        axis=1,
    )

    made = make(push)

    low, high = made.repetition.phases[PhaseName.RAISE].intervals["superior_drift_deg_per_10deg"]
    assert low < 1.2 < high
    assert high - low < 0.4


def test_the_azimuth_may_lie_where_it_wraps(make: Maker, elevation: Floats) -> None:
    """Straight forward is ±180°: an interval there stays narrow."""
    count = len(elevation)
    push = np.stack([40.0 + 0 * elevation, 0 * elevation, 2.0 * slow_noise(count, 4)], axis=1)

    made = make(push)

    low, high = made.repetition.phases[PhaseName.MOVEMENT].intervals["azimuth_mean_deg"]
    assert high - low < 10.0
    assert low <= made.number("azimuth_mean_deg") <= high


def test_too_short_a_stretch_has_none_and_says_so(make: Maker, elevation: Floats) -> None:
    on = np.zeros(len(elevation), dtype=np.bool_)
    on[900:1100] = True

    made = make(trembling(len(elevation), 1), contact=on, directed=on)

    raising = made.repetition.phases[PhaseName.RAISE]
    assert raising.intervals.keys() <= SHARES
    assert raising.values["force_mean_N"] is not None
    assert "less than 2 s" in raising.interval_reasons["force_mean_N"]
    assert "less than 2 s" in raising.interval_reasons["superior_drift_deg_per_10deg"]
    assert "less than 2 s" in made.reason("direction_cone95_deg", PhaseName.RAISE)
    assert raising.to_dict()["interval_reasons"] == raising.interval_reasons


def test_a_share_that_never_changed_has_none_and_says_so(make: Maker, elevation: Floats) -> None:
    """Always on in one phase is no proof of always."""
    raising = make(trembling(len(elevation), 1)).repetition.phases[PhaseName.RAISE]

    assert raising.values["hold_coverage_percent"] == 100.0
    assert "never changed" in raising.interval_reasons["hold_coverage_percent"]


def test_a_share_stays_a_share(make: Maker, elevation: Floats) -> None:
    """Off once: the interval of the rest is lopsided and ends at 100."""
    on = np.ones(len(elevation), dtype=np.bool_)
    on[1200:1260] = False

    measured = make(trembling(len(elevation), 1), contact=on).repetition.phases[PhaseName.MOVEMENT]

    low, high = measured.intervals["hold_coverage_percent"]
    value = measured.values["hold_coverage_percent"]
    assert 0.0 < low < value < high < 100.0
    assert high - value < value - low


def test_a_push_on_the_target_is_not_kept_away_from_it(make: Maker, elevation: Floats) -> None:
    """An angle off the target is never below 0, and near it the interval begins there."""
    made = make(trembling(len(elevation), 5))

    low, high = made.repetition.phases[PhaseName.MOVEMENT].intervals["off_axis_mean_deg"]
    assert low == 0.0
    assert high > made.number("off_axis_mean_deg")


def test_following_a_moving_target_is_not_counted_as_scatter(
    series: Maker, elevation: Floats
) -> None:
    """A push always 5° beside a target that turns is sure of its angle, if not of its azimuth."""
    count = len(elevation)
    turned = np.deg2rad(30.0 + elevation / 5.0 + slow_noise(count, 3))
    target = np.stack([-np.cos(turned), 0.0 * turned, np.sin(turned)], axis=1)
    beside = turned + np.deg2rad(5.0 + 0.3 * slow_noise(count, 4))
    push = 40.0 * np.stack([-np.cos(beside), 0.0 * beside, np.sin(beside)], axis=1)
    rows = replace(series(elevation, push), target_direction=target)

    (one,) = measure_repetitions(rows, find_repetitions(rows), Target(), side="right")

    found = one.phases[PhaseName.LOWER].intervals
    low, high = found["off_axis_mean_deg"]
    assert low < 5.0 < high
    assert high - low < 0.6
    assert np.ptp(found["azimuth_mean_deg"]) > 1.5 * (high - low)


def test_the_cone_is_as_wide_as_both_ways_together(make: Maker, elevation: Floats) -> None:
    """A push that trembles sideways alone: the cone is half the azimuth's interval, cos β of it."""
    made = make(trembling(len(elevation), 3))

    low, high = made.repetition.phases[PhaseName.MOVEMENT].intervals["azimuth_mean_deg"]
    level = np.cos(np.deg2rad(made.number("superior_angle_mean_deg")))
    expected = level * (high - low) / 2.0
    assert made.number("direction_cone95_deg") == pytest.approx(expected, rel=0.01)


def test_what_was_left_out_as_too_light_is_told(make: Maker, elevation: Floats) -> None:
    """A quarter of the hold has no direction; where the hand is off there is nothing to leave."""
    number = np.arange(len(elevation))

    made = make(contact=number % 2 == 0, directed=number % 8 == 0)

    assert made.number("gated_percent") == pytest.approx(75.0, abs=0.2)
    away = make(contact=number < 0, directed=number < 0)
    assert "hardly on" in away.reason("gated_percent")
