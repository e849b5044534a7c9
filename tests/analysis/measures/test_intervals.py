"""Intervals of measures: that they hold what they promise, and are the same tomorrow."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.directions import fisher, unit_vectors
from analysis.measure_settings import MeasureSettings
from analysis.measures import measure_repetitions
from analysis.repetitions import find_repetitions
from analysis.target import Target
from analysis.trial import PhaseName

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
CHIEF = {
    "on_target_percent", "hold_coverage_percent", "force_in_band_percent", "force_mean_N",
    "force_cv_percent", "glide_mean_N", "superior_force_mean_N", "azimuth_mean_deg",
    "superior_angle_mean_deg", "off_axis_mean_deg", "superior_drift_deg_per_10deg",
}  # fmt: skip
FS_HZ = 200.0


def slow_noise(count: int, seed: int, memory_s: float = 0.1) -> Floats:
    """Return noise of SD 1 that forgets itself in *memory_s*: samples hang together."""
    rng = np.random.default_rng(seed)
    keep = np.exp(-1.0 / (memory_s * FS_HZ))
    drive = rng.normal(scale=np.sqrt(1.0 - keep**2), size=count)
    noise = np.empty(count)
    last = rng.normal()
    for i, step in enumerate(drive.tolist()):
        last = keep * last + step
        noise[i] = last
    return noise


def trembling(count: int, seed: int) -> Floats:
    """Return a push of 40 N whose size and direction change slowly at random, (n, 3)."""
    target = Target().direction
    across = np.cross(target, [0.0, 1.0, 0.0])
    size = 40.0 + 2.0 * slow_noise(count, seed)
    sideways = 0.05 * slow_noise(count, seed + 1000)
    return size[:, np.newaxis] * unit_vectors(target + sideways[:, np.newaxis] * across)


def test_every_chief_measure_has_an_interval_about_its_value(
    make: Maker, elevation: Floats
) -> None:
    made = make(trembling(len(elevation), 1))

    for phase in PhaseName:
        measured = made.repetition.phases[phase]
        assert measured.intervals.keys() == CHIEF
        for key, (low, high) in measured.intervals.items():
            assert low - 1e-6 <= measured.values[key] <= high + 1e-6, (phase, key)
    plain = made.repetition.phases[PhaseName.RAISE].to_dict()
    assert plain["intervals"]["force_mean_N"] == pytest.approx(
        made.repetition.phases[PhaseName.RAISE].intervals["force_mean_N"]
    )


def test_it_holds_the_true_mean_about_as_often_as_it_says(make: Maker, elevation: Floats) -> None:
    """95 %, less what percentiles of a dozen blocks lack; single samples would give half that."""
    inside = {"force_mean_N": 0, "azimuth_mean_deg": 0}
    trials = 60
    for seed in range(trials):
        intervals = (
            make(trembling(len(elevation), seed)).repetition.phases[PhaseName.MOVEMENT].intervals
        )
        for key, true in (("force_mean_N", 40.0), ("azimuth_mean_deg", 30.0)):
            low, high = intervals[key]
            inside[key] += low <= true <= high

    for key, count in inside.items():
        assert count >= 0.85 * trials, key


def test_the_same_seed_gives_the_same_interval(
    make: Maker, series: Maker, elevation: Floats
) -> None:
    rows = series(elevation, trembling(len(elevation), 2))
    spans = find_repetitions(rows)

    def force(seed: int) -> tuple[float, float]:
        settings = MeasureSettings(seed=seed)
        (one,) = measure_repetitions(rows, spans, Target(), settings, side="right")
        return one.phases[PhaseName.RAISE].intervals["force_mean_N"]

    assert force(5) == force(5)
    assert force(5) != force(6)


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
    assert high - low < 5.0
    assert low <= made.number("azimuth_mean_deg") <= high


def test_too_short_a_stretch_has_none(make: Maker, elevation: Floats) -> None:
    on = np.zeros(len(elevation), dtype=np.bool_)
    on[900:1100] = True

    made = make(trembling(len(elevation), 1), contact=on, directed=on)

    intervals = made.repetition.phases[PhaseName.RAISE].intervals
    assert intervals.keys() <= {
        "hold_coverage_percent", "on_target_percent", "force_in_band_percent"
    }  # fmt: skip
    assert made.phase("force_mean_N", PhaseName.RAISE) is not None
    assert "fewer than" in made.reason("direction_cone95_deg", PhaseName.RAISE)


def test_the_cone_is_fisher_s_of_half_second_means(make: Maker, elevation: Floats) -> None:
    push = trembling(len(elevation), 3)

    made = make(push)

    raising = made.repetition.spans.raising
    units = unit_vectors(push[raising.slice])
    halves = [units[i : i + 100].mean(axis=0) for i in range(0, len(units) - 99, 100)]
    expected = np.rad2deg(fisher(np.array(halves)).alpha95_rad)
    assert made.number("direction_cone95_deg", PhaseName.RAISE) == pytest.approx(expected)
    assert 0.2 < expected < 5.0


def test_what_was_left_out_as_too_light_is_told(make: Maker, elevation: Floats) -> None:
    """A quarter of the hold has no direction; where the hand is off there is nothing to leave."""
    number = np.arange(len(elevation))

    made = make(contact=number % 2 == 0, directed=number % 8 == 0)

    assert made.number("gated_percent") == pytest.approx(75.0, abs=0.2)
    away = make(contact=number < 0, directed=number < 0)
    assert "hardly on" in away.reason("gated_percent")
