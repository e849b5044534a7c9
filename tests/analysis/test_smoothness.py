"""Smoothness against its authors' code and the closed forms of the minimum-jerk movement."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.smoothness import log_dimensionless_jerk, spectral_arc_length

Floats = NDArray[np.float64]


def bell() -> Floats:
    """Return the speed that the authors' documentation takes as its example, at 100 Hz."""
    return np.asarray(np.exp(-5.0 * np.arange(-1.0, 1.0, 0.01) ** 2))


def minimum_jerk(seconds: float, fs_hz: float) -> Floats:
    tau = np.linspace(0.0, 1.0, int(fs_hz * seconds) + 1)
    return np.asarray(30 * tau**2 - 60 * tau**3 + 30 * tau**4)


def two_submovements(gap_s: float) -> Floats:
    """Return two minimum-jerk speeds of 1 s at 100 Hz whose onsets lie *gap_s* apart."""
    one, at = minimum_jerk(1.0, 100.0), round(gap_s * 100.0)
    both = np.zeros(len(one) + at)
    both[: len(one)] += one
    both[at:] += one
    return both


def test_both_have_the_values_of_their_authors() -> None:
    """Documented by Balasubramanian's reference code: −1.41403 and −5.81636."""
    assert spectral_arc_length(bell(), fs_hz=100.0) == pytest.approx(-1.41403, abs=1e-5)
    assert log_dimensionless_jerk(bell(), fs_hz=100.0) == pytest.approx(-5.81636, abs=1e-5)


@pytest.mark.parametrize(
    ("fs_hz", "seconds", "sparc"),
    [
        (100.0, 1.0, -1.405829),
        (100.0, 2.0, -1.405829),
        (100.0, 5.0, -1.402426),
        (1000.0, 1.0, -1.402426),
        (1000.0, 5.0, -1.400417),
    ],
)
def test_a_minimum_jerk_movement_is_as_smooth_whatever_its_length(
    fs_hz: float, seconds: float, sparc: float
) -> None:
    """−1.408 ± 0.01, by the grid of the padded spectrum; −ln 204.8 = −5.322 (closed form)."""
    speed = minimum_jerk(seconds, fs_hz)

    assert spectral_arc_length(speed, fs_hz=fs_hz) == pytest.approx(sparc, abs=1e-5)
    assert spectral_arc_length(speed, fs_hz=fs_hz) == pytest.approx(-1.408, abs=0.01)
    assert log_dimensionless_jerk(speed, fs_hz=fs_hz) == pytest.approx(-5.322034, abs=0.025)


def test_the_jerk_of_closed_forms() -> None:
    """Half a sine −3.8858 and a cosine bell −5.2721: ln(π⁴/2) and ln(2π⁴)."""
    tau = np.linspace(0.0, 1.0, 5001)

    half_sine, cosine_bell = np.sin(np.pi * tau), (1.0 - np.cos(2.0 * np.pi * tau)) / 2.0

    assert log_dimensionless_jerk(half_sine, fs_hz=5000.0) == pytest.approx(-3.885772, abs=2e-3)
    assert log_dimensionless_jerk(cosine_bell, fs_hz=5000.0) == pytest.approx(-5.272067, abs=2e-3)


@pytest.mark.parametrize(
    ("gap_s", "sparc", "ldlj"),
    [
        (0.0, -1.40583, -5.30163),
        (0.5, -1.63111, -6.37301),
        (0.75, -1.96103, -7.71892),
        (1.0, -2.24455, -8.08427),
        (1.5, -3.11903, -8.73832),
        (2.0, -3.99354, -9.28330),
    ],
)
def test_a_movement_in_two_is_the_less_smooth_the_further_they_lie_apart(
    gap_s: float, sparc: float, ldlj: float
) -> None:
    """Values of the authors' settings, recomputed independently of this code."""
    speed = two_submovements(gap_s)

    assert spectral_arc_length(speed, fs_hz=100.0) == pytest.approx(sparc, abs=0.01)
    assert log_dimensionless_jerk(speed, fs_hz=100.0) == pytest.approx(ldlj, abs=0.01)


@given(size=st.floats(0.001, 1000.0))
def test_neither_depends_on_the_size_of_a_movement(size: float) -> None:
    speed = bell()

    for measure in (spectral_arc_length, log_dimensionless_jerk):
        assert measure(size * speed, fs_hz=100.0) == pytest.approx(measure(speed, fs_hz=100.0))


@given(times=st.floats(0.1, 10.0))
def test_the_jerk_does_not_depend_on_the_time_a_movement_takes(times: float) -> None:
    """The same shape at another rate is the same movement slower or faster."""
    slower = log_dimensionless_jerk(bell(), fs_hz=100.0 / times)

    assert slower == pytest.approx(log_dimensionless_jerk(bell(), fs_hz=100.0))


def test_a_tremble_is_less_smooth() -> None:
    speed = minimum_jerk(5.0, 100.0)
    trembling = speed + 0.3 * np.sin(2.0 * np.pi * 6.0 * np.arange(len(speed)) / 100.0)

    for measure in (spectral_arc_length, log_dimensionless_jerk):
        assert measure(trembling, fs_hz=100.0) < measure(speed, fs_hz=100.0)


def test_no_movement_has_no_smoothness() -> None:
    for measure in (spectral_arc_length, log_dimensionless_jerk):
        with pytest.raises(ValueError, match="no movement"):
            measure(np.zeros(100), fs_hz=100.0)
    with pytest.raises(ValueError, match="never changes its slope"):
        log_dimensionless_jerk(np.arange(100.0), fs_hz=100.0)
