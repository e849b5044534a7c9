"""Measures of direction: known pushes have known answers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.target import Target
from analysis.trial import PhaseName

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
PushAt = Callable[..., Floats]

ANGLES = (
    "azimuth_mean_deg", "azimuth_error_mean_deg", "superior_angle_mean_deg",
    "superior_angle_p95_deg", "superior_drift_deg_per_10deg", "superior_drift_deg",
    "off_axis_mean_deg", "off_axis_rms_deg", "off_axis_p95_deg", "direction_dispersion_deg",
)  # fmt: skip


def round_the_target(count: int, half_deg: float, target: Target) -> Floats:
    """Return pushes of 40 N (n, 3) that go round the target at an even angle to it."""
    d = target.direction
    lateral = np.cross([0.0, 1.0, 0.0], d)
    lateral /= np.linalg.norm(lateral)
    superior = np.cross(d, lateral)
    turn = np.linspace(0.0, 40 * np.pi, count, endpoint=False)[:, np.newaxis]
    a = np.deg2rad(half_deg)
    return np.asarray(
        40.0 * (np.cos(a) * d + np.sin(a) * (np.cos(turn) * lateral + np.sin(turn) * superior))
    )


def wandering(elevation: Floats, seed: int = 1) -> Floats:
    """Return pushes (n, 3) about the target whose direction and size change slowly."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0.0, 2.0 * np.pi, len(elevation))[:, np.newaxis]
    waves = sum(
        rng.normal(0.0, 2.0, 3) * np.sin(k * turn + rng.uniform(0, 6, 3)) for k in (1, 3, 7)
    )
    return np.asarray(40.0 * Target().direction + waves)


@pytest.mark.parametrize(
    ("force_n", "azimuth_deg", "superior_deg", "off_axis_deg", "glide_n"),
    [
        ((-40.0, 0.0, 0.0), 0.0, 0.0, 30.3755065, 34.5091966),
        ((-30.0, 5.0, 20.0), 33.6900675260, 7.8951421058, 13.4102569711, 35.4080657371),
        ((-35.0, -3.0, 18.0), 27.2161115573, -4.3589227844, 2.8476907297, 39.4227665593),
    ],
)
def test_a_steady_push_has_its_angles(
    make: Maker,
    elevation: Floats,
    force_n: tuple[float, float, float],
    azimuth_deg: float,
    superior_deg: float,
    off_axis_deg: float,
    glide_n: float,
) -> None:
    """Worked by hand from the definitions, target azimuth 30° and 5° down."""
    made = make(np.tile(force_n, (len(elevation), 1)))

    for phase in PhaseName:
        assert made.number("azimuth_mean_deg", phase) == pytest.approx(azimuth_deg)
        assert made.number("azimuth_error_mean_deg", phase) == pytest.approx(azimuth_deg - 30.0)
        assert made.number("superior_angle_mean_deg", phase) == pytest.approx(superior_deg)
        assert made.number("superior_angle_p95_deg", phase) == pytest.approx(superior_deg)
        assert made.number("superior_force_mean_N", phase) == pytest.approx(force_n[1])
        assert made.number("superior_force_p95_N", phase) == pytest.approx(force_n[1])
        assert made.number("off_axis_mean_deg", phase) == pytest.approx(off_axis_deg, abs=1e-4)
        assert made.number("off_axis_rms_deg", phase) == pytest.approx(off_axis_deg, abs=1e-4)
        assert made.number("off_axis_p95_deg", phase) == pytest.approx(off_axis_deg, abs=1e-4)
        assert made.number("glide_mean_N", phase) == pytest.approx(glide_n)
        assert made.number("direction_dispersion_deg", phase) == pytest.approx(0.0, abs=1e-6)
        assert "never changed" in made.reason("direction_kappa", phase)


def test_directions_are_averaged_as_vectors(make: Maker, elevation: Floats) -> None:
    """Round the target at 8°: every sample is 8° off, the mean is not off at all.

    For N directions evenly on a cone of half-angle a, k = (N − 1)/(N(1 − cos a)).
    """
    made = make(round_the_target(len(elevation), 8.0, Target()))

    assert made.number("off_axis_mean_deg") == pytest.approx(0.0, abs=0.3)
    assert made.number("off_axis_rms_deg") == pytest.approx(8.0)
    assert made.number("direction_dispersion_deg") == pytest.approx(8.0, abs=0.01)
    assert made.number("direction_kappa") == pytest.approx(102.75, rel=0.005)
    assert made.number("azimuth_mean_deg") == pytest.approx(30.0, abs=0.3)


def test_an_azimuth_on_both_sides_of_the_seam_is_no_average_of_numbers(
    make: Maker, elevation: Floats, push_at: PushAt
) -> None:
    """170° and −170° are 180° on average, which is 150° from the target and not −210°."""
    sides = np.where(np.arange(len(elevation)) % 2, 170.0, -170.0)

    made = make(push_at(sides, np.zeros(len(elevation))))

    assert abs(made.number("azimuth_mean_deg")) == pytest.approx(180.0, abs=0.1)
    assert made.number("azimuth_error_mean_deg") == pytest.approx(150.0, abs=0.1)


def test_only_samples_with_a_direction_count_for_the_direction(
    make: Maker, elevation: Floats, push_at: PushAt
) -> None:
    wrong = np.arange(len(elevation)) % 4 == 0
    azimuth = np.where(wrong, 80.0, 30.0)

    made = make(push_at(azimuth, np.full(len(elevation), -5.0)), directed=~wrong)

    assert made.number("azimuth_mean_deg") == pytest.approx(30.0)
    assert made.number("valid_percent") == pytest.approx(75.0, abs=0.1)


def test_on_target_needs_cone_superior_limit_and_band_at_once(
    make: Maker, elevation: Floats, push_at: PushAt
) -> None:
    """Four equal parts, of which one is right; time without a direction counts as off."""
    quarter = np.arange(len(elevation)) % 4
    azimuth = np.where(quarter == 1, 45.0, 30.0)
    superior = np.where(quarter == 2, 4.0, -4.0)
    size = np.where(quarter == 3, 70.0, 40.0)

    made = make(push_at(azimuth, superior, size))
    undirected = make(push_at(azimuth, superior, size), directed=quarter > 0)

    assert made.number("on_target_percent") == pytest.approx(25.0, abs=0.1)
    assert undirected.number("on_target_percent") == 0.0


def test_on_target_counts_what_is_known(make: Maker, elevation: Floats) -> None:
    push = np.tile(40.0 * Target().direction, (len(elevation), 1))
    push[1000:1400] = np.nan
    nothing = np.isnan(push[:, 0])

    made = make(push, missing=nothing, contact=~nothing, directed=~nothing)

    assert made.number("on_target_percent") == 100.0
    assert made.number("missing_percent") == pytest.approx(
        100.0 * 400 / len(made.repetition.spans.movement)
    )


def test_the_uncertainty_of_a_mean_does_not_shrink_with_the_samples(
    make: Maker, elevation: Floats
) -> None:
    """Root mean square over the samples: what is common to all of them stays."""
    half = np.arange(len(elevation)) % 2 == 0
    u = np.deg2rad(np.where(half, 1.0, 2.0))

    made = make(azimuth_u_rad=u, superior_angle_u_rad=2.0 * u, off_axis_u_rad=0.5 * u)

    assert made.number("azimuth_u_deg") == pytest.approx(np.sqrt(2.5), abs=1e-3)
    assert made.number("superior_angle_u_deg") == pytest.approx(2.0 * np.sqrt(2.5), abs=1e-3)
    assert made.number("off_axis_u_deg") == pytest.approx(0.5 * np.sqrt(2.5), abs=1e-3)


def test_a_push_too_light_has_no_direction_and_says_so(make: Maker, elevation: Floats) -> None:
    made = make(directed=np.zeros(len(elevation), dtype=np.bool_))

    for key in (*ANGLES, "direction_kappa", "azimuth_u_deg"):
        assert made.phase(key) is None
        assert "too light" in made.reason(key)
    assert made.number("force_mean_N") == pytest.approx(40.0)
    assert made.number("valid_percent") == 0.0


@settings(deadline=None, max_examples=20)
@given(times=st.floats(0.5, 5.0), seed=st.integers(0, 1000))
def test_pressing_harder_changes_no_angle(
    make: Maker, elevation: Floats, times: float, seed: int
) -> None:
    push = wandering(elevation, seed)

    soft, hard = make(push), make(times * push)

    for phase in PhaseName:
        for key in (*ANGLES, "direction_kappa", "force_cv_percent"):
            assert hard.number(key, phase) == pytest.approx(soft.number(key, phase), abs=1e-6)
        for key in ("force_mean_N", "force_sd_N", "force_detrended_sd_N", "glide_mean_N"):
            assert hard.number(key, phase) == pytest.approx(times * soft.number(key, phase))


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 1000))
def test_a_mirrored_push_against_a_mirrored_target_is_the_same_but_for_its_azimuth(
    make: Maker, elevation: Floats, seed: int
) -> None:
    push = wandering(elevation, seed)

    right = make(push)
    left = make(push * [1.0, 1.0, -1.0], target=Target(glide_azimuth_deg=-30.0))

    turned = ("azimuth_mean_deg", "azimuth_error_mean_deg")
    for key, value in right.repetition.phases[PhaseName.MOVEMENT].values.items():
        if isinstance(value, float):
            expected = -value if key in turned else value
            assert left.number(key) == pytest.approx(expected, abs=1e-9), key


@settings(deadline=None, max_examples=20)
@given(turn_deg=st.floats(-60.0, 60.0), seed=st.integers(0, 1000))
def test_turning_push_and_target_about_the_vertical_changes_the_azimuth_alone(
    make: Maker, elevation: Floats, turn_deg: float, seed: int
) -> None:
    push = wandering(elevation, seed)
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    # Adds to the azimuth, which turns from −X toward +Z.
    turned = push @ np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]])

    here = make(push)
    there = make(turned, target=Target(glide_azimuth_deg=30.0 + turn_deg))

    for key, value in here.repetition.phases[PhaseName.MOVEMENT].values.items():
        if isinstance(value, float):
            expected = value + turn_deg if key == "azimuth_mean_deg" else value
            assert there.number(key) == pytest.approx(expected, rel=1e-6, abs=1e-6), key
