"""Statistics of directions against published sets."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats
from scipy.spatial.transform import Rotation

from analysis.directions import (
    angular_sd_rad,
    fisher,
    mean_direction,
    mean_resultant,
    most_likely_kappa,
    watson_test,
)

Floats = NDArray[np.float64]

FOUR = ([140.0, 127.0, 142.0, 136.0], [21.0, 23.0, 19.0, 22.0])
"""The four directions of the PmagPy notebooks (Tauxe et al.)."""


def pointing(declination_deg: list[float], inclination_deg: list[float]) -> Floats:
    d, i = np.deg2rad(declination_deg), np.deg2rad(inclination_deg)
    return np.stack([np.cos(i) * np.cos(d), np.cos(i) * np.sin(d), np.sin(i)], axis=1)


def reference_file(name: str) -> list[dict[str, str]]:
    folder = os.environ.get("PERPEND_REFERENCE_DATA")
    if not folder:
        pytest.skip("PERPEND_REFERENCE_DATA does not name the folder of reference data")
    with (Path(folder) / name).open(encoding="utf-8") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def reference_set(name: str) -> Floats:
    rows = [row for row in reference_file("fisher_directions.csv") if row["set"] == name]
    return pointing([float(row["dec"]) for row in rows], [float(row["inc"]) for row in rows])


def cone(half_deg: float, count: int = 12) -> Floats:
    turn = np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    a = np.deg2rad(half_deg)
    return np.stack(
        [np.sin(a) * np.cos(turn), np.sin(a) * np.sin(turn), np.full(count, np.cos(a))], axis=1
    )


def test_fisher_statistics_of_four_directions() -> None:
    """Values that the PmagPy notebooks print to full precision."""
    found = fisher(pointing(*FOUR))

    assert found.resultant == pytest.approx(3.9812138971889026, rel=1e-12)
    assert found.kappa == pytest.approx(159.69251473636305, rel=1e-9)
    assert np.rad2deg(found.alpha95_rad) == pytest.approx(7.292891411309177, rel=1e-9)
    assert np.rad2deg(found.csd_rad) == pytest.approx(6.4097743211340896, rel=1e-9)
    mean = found.mean
    assert np.rad2deg(np.arctan2(mean[1], mean[0])) == pytest.approx(136.30838974272072)
    assert np.rad2deg(np.arcsin(mean[2])) == pytest.approx(21.347784026899987)


def test_fisher_statistics_of_ten_directions() -> None:
    """The ``gofish`` set of PmagPy (BSD-3) with the values of its notebook."""
    found = fisher(reference_set("gofish"))

    assert found.count == 10
    assert found.resultant == pytest.approx(9.848433230859508, rel=1e-12)
    assert found.kappa == pytest.approx(59.379770717798884, rel=1e-9)
    assert np.rad2deg(found.alpha95_rad) == pytest.approx(6.320446730051139, rel=1e-9)
    assert np.rad2deg(found.csd_rad) == pytest.approx(10.511525802823254, rel=1e-9)
    assert np.rad2deg(np.arctan2(found.mean[1], found.mean[0])) == pytest.approx(10.78355298491744)
    assert np.rad2deg(np.arcsin(found.mean[2])) == pytest.approx(39.60258299352024)


def test_fisher_statistics_of_fifty_scattered_poles() -> None:
    """Fisher, Lewis & Embleton 1987, set B1; values recomputed from the published poles."""
    rows = reference_file("fle1987_b1_poles.csv")
    poles = pointing([float(row["lon"]) for row in rows], [float(row["lat"]) for row in rows])

    found = fisher(poles)

    assert found.resultant == pytest.approx(38.43917029, abs=1e-8)
    assert found.kappa == pytest.approx(4.23845011, abs=1e-8)
    assert found.kappa_ml == pytest.approx(4.3183184, abs=1e-7)
    assert np.rad2deg(found.alpha95_rad) == pytest.approx(11.1752936, abs=1e-7)


@pytest.mark.parametrize(
    ("first", "second", "f", "degrees", "critical"),
    [
        ("watson_a", "watson_b", 5.230744275668, (2, 36), 3.259446),
        (
            ([-45.0, -40.0, -38.0], [150.0, 150.0, 145.0]),
            ([-43.0, -39.0, -38.0], [140.0, 130.0, 145.0]),
            3.7453156915587567,
            (2, 8),
            4.458970,
        ),
    ],
)
def test_two_sets_are_compared_as_watson_does(
    first: str | tuple[list[float], list[float]],
    second: str | tuple[list[float], list[float]],
    f: float,
    degrees: tuple[int, int],
    critical: float,
) -> None:
    """Values of the PmagPy notebooks; the critical value has the chance 5 %, by scipy too."""
    one = reference_set(first) if isinstance(first, str) else pointing(*first)
    two = reference_set(second) if isinstance(second, str) else pointing(*second)

    found = watson_test(one, two)

    assert found.f == pytest.approx(f, rel=1e-9)
    assert found.degrees == degrees
    assert found.p == pytest.approx(stats.f.sf(f, *degrees), rel=1e-9)
    assert (found.p < 0.05) is (found.f > critical)


def test_the_mean_is_normalised_before_an_angle_is_taken_from_it() -> None:
    """A textbook set (six directions) whose printed inclination forgets that: 45.7 for 47.07."""
    poles = pointing(
        [105.0, 130.0, 115.0, 120.0, 118.0, 145.0], [40.0, 49.0, 57.0, 32.0, 55.0, 45.0]
    )

    inclination = np.rad2deg(np.arcsin(mean_direction(poles)[2]))

    assert inclination == pytest.approx(47.06603, abs=1e-5)


@pytest.mark.parametrize(
    ("half_deg", "kappa", "alpha95_deg"),
    [
        (5.0, 240.891968303, 2.8021929),
        (10.0, 60.3377938368, 5.6330356),
        (30.0, 6.8420931472, 17.9038565),
    ],
)
def test_directions_on_a_cone_have_the_closed_form(
    half_deg: float, kappa: float, alpha95_deg: float
) -> None:
    """k = (N − 1)/(N(1 − cos a)) for N directions evenly on a cone of half-angle a."""
    found = fisher(cone(half_deg))

    assert found.kappa == pytest.approx(kappa, rel=1e-9)
    assert np.rad2deg(found.alpha95_rad) == pytest.approx(alpha95_deg, abs=1e-6)
    assert np.rad2deg(angular_sd_rad(cone(half_deg))) == pytest.approx(half_deg)


@given(half_deg=st.floats(-6.0, 1.5).map(lambda exponent: 10.0**exponent))
def test_the_concentration_keeps_its_digits_when_all_directions_are_close(
    half_deg: float,
) -> None:
    """1 − cos a written as 2·sin²(a/2); as a difference it is rounding below 10⁻⁶ degrees."""
    expected = 11.0 / (12.0 * 2.0 * np.sin(np.deg2rad(half_deg) / 2.0) ** 2)

    assert fisher(cone(half_deg)).kappa == pytest.approx(expected, rel=1e-6)


def test_directions_that_are_the_same_are_concentrated_without_bound() -> None:
    same = np.tile([[0.3, -0.4, 0.5]], (50, 1))

    assert fisher(same).kappa == np.inf
    assert fisher(same).kappa_ml == np.inf


@pytest.mark.parametrize(
    ("kappa", "resultant"),
    [(1.0, 0.313035285499), (5.0, 0.800090803982), (20.0, 0.95), (50.0, 0.98)],
)
def test_the_mean_resultant_belongs_to_its_concentration(kappa: float, resultant: float) -> None:
    """Coth κ − 1/κ, in 40 digits."""
    assert mean_resultant(kappa) == pytest.approx(resultant, abs=1e-12)
    assert most_likely_kappa(1.0 - resultant) == pytest.approx(kappa, rel=1e-9)


def test_noise_on_each_axis_gives_the_concentration_of_its_size() -> None:
    """κ ≈ (F/σ)² for isotropic noise: 40 N and 1 N make 1600, and 2.03° RMS (√2·σ/F)."""
    rng = np.random.default_rng(5)
    pushes = np.array([-40.0, 0.0, 0.0]) + rng.normal(size=(40_000, 3))

    assert fisher(pushes).kappa == pytest.approx(1600.0, rel=0.02)
    assert np.rad2deg(angular_sd_rad(pushes)) == pytest.approx(2.0257, rel=0.01)


@given(
    seed=st.integers(0, 2**31),
    sizes=st.lists(st.floats(0.01, 100.0), min_size=6, max_size=6),
)
def test_neither_length_nor_turning_the_frame_changes_a_statistic(
    seed: int, sizes: list[float]
) -> None:
    rng = np.random.default_rng(seed)
    vectors = np.array([0.0, 0.0, 3.0]) + rng.normal(size=(6, 3))
    turn = Rotation.random(rng=seed)

    found, other = fisher(vectors), fisher(turn.apply(vectors * np.array(sizes)[:, np.newaxis]))

    assert other.kappa == pytest.approx(found.kappa, rel=1e-9)
    np.testing.assert_allclose(turn.apply(found.mean), other.mean, atol=1e-12)


def test_one_direction_has_no_spread() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        fisher(np.array([[1.0, 0.0, 0.0]]))
