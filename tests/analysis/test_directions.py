"""Statistics of directions against published sets."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.directions import angular_sd_rad, fisher, mean_direction
from analysis.smoothness import log_dimensionless_jerk, spectral_arc_length


def pointing(declination_deg: list[float], inclination_deg: list[float]) -> NDArray[np.float64]:
    d, i = np.deg2rad(declination_deg), np.deg2rad(inclination_deg)
    return np.stack([np.cos(i) * np.cos(d), np.cos(i) * np.sin(d), np.sin(i)], axis=1)


def test_fisher_statistics_of_four_directions() -> None:
    """Values of the PmagPy notebooks (Tauxe et al.), which print them to full precision."""
    found = fisher(pointing([140.0, 127.0, 142.0, 136.0], [21.0, 23.0, 19.0, 22.0]))

    assert found.resultant == pytest.approx(3.9812138971889026, rel=1e-12)
    assert found.kappa == pytest.approx(159.69251473636305, rel=1e-9)
    assert np.rad2deg(found.alpha95_rad) == pytest.approx(7.292891411309177, rel=1e-9)
    mean = found.mean
    assert np.rad2deg(np.arctan2(mean[1], mean[0])) == pytest.approx(136.30838974272072)
    assert np.rad2deg(np.arcsin(mean[2])) == pytest.approx(21.347784026899987)


def test_the_mean_is_normalised_before_an_angle_is_taken_from_it() -> None:
    """A textbook set (six directions) whose printed inclination forgets that: 45.7 for 47.07."""
    poles = pointing(
        [105.0, 130.0, 115.0, 120.0, 118.0, 145.0], [40.0, 49.0, 57.0, 32.0, 55.0, 45.0]
    )

    inclination = np.rad2deg(np.arcsin(mean_direction(poles)[2]))

    assert inclination == pytest.approx(47.06603, abs=1e-5)


@pytest.mark.parametrize(("half_deg", "kappa"), [(5.0, 240.891968303), (30.0, 6.8420931472)])
def test_directions_on_a_cone_have_the_closed_form(half_deg: float, kappa: float) -> None:
    """k = (N − 1)/(N(1 − cos a)) for N directions evenly on a cone of half-angle a."""
    turn = np.linspace(0.0, 2 * np.pi, 12, endpoint=False)
    a = np.deg2rad(half_deg)
    cone = np.stack(
        [np.sin(a) * np.cos(turn), np.sin(a) * np.sin(turn), np.full(12, np.cos(a))], axis=1
    )

    assert fisher(cone).kappa == pytest.approx(kappa, rel=1e-9)
    assert np.rad2deg(angular_sd_rad(cone)) == pytest.approx(half_deg)


def test_how_long_the_vectors_are_does_not_matter() -> None:
    vectors = pointing([10.0, 20.0, 30.0], [0.0, 5.0, -5.0])

    scaled = vectors * np.array([[1.0], [50.0], [0.01]])

    np.testing.assert_allclose(mean_direction(scaled), mean_direction(vectors), atol=1e-15)


def test_smoothness_has_the_values_of_its_authors() -> None:
    """Documented values of Balasubramanian's reference code for exp(−5t²) at 100 Hz."""
    speed = np.exp(-5.0 * np.arange(-1.0, 1.0, 0.01) ** 2)

    assert spectral_arc_length(speed, fs_hz=100.0) == pytest.approx(-1.41403, abs=1e-5)
    assert log_dimensionless_jerk(speed, fs_hz=100.0) == pytest.approx(-5.81636, abs=1e-5)


@pytest.mark.parametrize("seconds", [1.0, 2.0, 5.0])
def test_a_minimum_jerk_movement_is_as_smooth_whatever_its_length(seconds: float) -> None:
    """−1.408 ± 0.01 (grid) and −ln 204.8 = −5.322 (closed form of minimum jerk)."""
    tau = np.linspace(0.0, 1.0, int(1000 * seconds) + 1)
    speed = 30 * tau**2 - 60 * tau**3 + 30 * tau**4

    assert spectral_arc_length(speed, fs_hz=1000.0) == pytest.approx(-1.408, abs=0.01)
    assert log_dimensionless_jerk(speed, fs_hz=1000.0) == pytest.approx(-5.322, abs=0.01)


def test_smoothness_does_not_depend_on_the_size_of_a_movement() -> None:
    speed = np.exp(-5.0 * np.arange(-1.0, 1.0, 0.01) ** 2)

    for measure in (spectral_arc_length, log_dimensionless_jerk):
        assert measure(7.0 * speed, fs_hz=100.0) == pytest.approx(measure(speed, fs_hz=100.0))
        with pytest.raises(ValueError, match="no movement"):
            measure(0.0 * speed, fs_hz=100.0)
