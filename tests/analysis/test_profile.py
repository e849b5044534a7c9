"""Profiles over the arc: what was put in at an elevation comes out at that elevation."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.measure_settings import MeasureSettings
from analysis.profile import Profile, profile_of
from analysis.repetitions import find_repetitions
from analysis.target import Target

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
Lift = Callable[..., Floats]


def profile(made: Any, width_deg: float = 5.0) -> Profile:
    (spans,) = find_repetitions(made)
    return profile_of(made, spans, Target(), MeasureSettings(profile_bin_deg=width_deg))


def pushing(azimuth_deg: Floats, superior_deg: Floats, size_n: Floats) -> Floats:
    a, b = np.deg2rad(azimuth_deg), np.deg2rad(superior_deg)
    unit = np.stack([-np.cos(b) * np.cos(a), np.sin(b), np.cos(b) * np.sin(a)], axis=1)
    return np.asarray(unit * size_n[:, np.newaxis])


@pytest.fixture(scope="module")
def elevation(lift: Lift) -> Floats:
    return lift()


def test_the_grid_is_even_and_the_same_for_every_repetition(
    series: Maker, elevation: Floats
) -> None:
    for width_deg, bins in ((5.0, 36), (7.0, 26), (60.0, 3)):
        found = profile(series(elevation), width_deg)

        for way in (found.raising, found.lowering):
            assert len(way.elevation_deg) == len(way.magnitude_n) == len(way.directed) == bins
            steps = np.diff(way.elevation_deg[:-1])
            np.testing.assert_allclose(steps, width_deg)
    assert found.raising.elevation_deg[0] == 30.0


def test_each_quantity_is_found_where_it_was(series: Maker, elevation: Floats) -> None:
    """Force, azimuth and superior angle that grow with elevation, and other ones down."""
    down = np.arange(len(elevation)) > np.argmax(elevation)
    azimuth = 20.0 + 0.1 * elevation + np.where(down, 7.0, 0.0)
    superior = -8.0 + 0.06 * elevation
    size = 30.0 + 0.1 * elevation + np.where(down, 5.0, 0.0)

    found = profile(series(elevation, pushing(azimuth, superior, size)))

    for way, more_deg, more_n in ((found.raising, 0.0, 0.0), (found.lowering, 7.0, 5.0)):
        middle = slice(1, 29)  # whole bins that the movement passes through
        at = way.elevation_deg[middle]
        assert way.azimuth_deg[middle] == pytest.approx(20.0 + 0.1 * at + more_deg, abs=0.1)
        assert way.superior_angle_deg[middle] == pytest.approx(-8.0 + 0.06 * at, abs=0.1)
        assert way.magnitude_n[middle] == pytest.approx(30.0 + 0.1 * at + more_n, abs=0.1)
    cosine = np.cos(np.deg2rad(found.raising.off_axis_deg))
    ratio = found.raising.glide_n / found.raising.magnitude_n
    np.testing.assert_allclose(ratio[1:29], cosine[1:29], atol=1e-3)


def test_speed_is_that_of_the_movement_at_its_elevation(series: Maker, elevation: Floats) -> None:
    """Half-way a minimum-jerk movement is at its fastest: 1.875 times 25°/s."""
    found = profile(series(elevation))

    for way in (found.raising, found.lowering):
        half_way = int(np.argmin(np.abs(way.elevation_deg - 72.5)))
        assert way.speed_deg_s[half_way] == pytest.approx(46.8, abs=0.2)
        assert np.nanargmax(way.speed_deg_s) in (half_way, half_way + 1)


def test_directions_in_a_bin_are_averaged_as_vectors(series: Maker, elevation: Floats) -> None:
    seam = np.where(np.arange(len(elevation)) % 2, 178.0, -178.0)

    found = profile(series(elevation, pushing(seam, np.zeros(len(seam)), np.full(len(seam), 40.0))))

    assert np.abs(found.raising.azimuth_deg[2:28]) == pytest.approx(180.0, abs=0.5)


def test_nothing_is_known_where_the_arm_was_not(series: Maker, elevation: Floats) -> None:
    found = profile(series(elevation))

    beyond = found.raising.elevation_deg > 150.0
    for values in (found.raising.magnitude_n, found.raising.azimuth_deg, found.raising.speed_deg_s):
        assert np.isnan(values[beyond]).all()
    assert found.raising.held[beyond].sum() == found.raising.directed[beyond].sum() == 0


def test_every_sample_of_the_way_is_in_one_bin(series: Maker, elevation: Floats) -> None:
    made = series(elevation)
    (spans,) = find_repetitions(made)

    found = profile(made)

    assert found.raising.held.sum() == len(spans.raising)
    assert found.lowering.directed.sum() == len(spans.lowering)


def test_direction_and_force_rest_on_what_they_can(series: Maker, elevation: Floats) -> None:
    """Too light below 50°, no hand from 100° on, the arm unknown for a moment."""
    made = series(elevation)
    hand = elevation < 100.0
    made = replace(made, contact=hand, directed=hand & (elevation > 50.0))
    arc = made.elevation_rad.copy()
    arc[1000:1010] = np.nan

    found = profile(replace(made, elevation_rad=arc)).raising

    at = found.elevation_deg
    np.testing.assert_array_equal(np.isfinite(found.azimuth_deg), (at > 50.0) & (at < 100.0))
    np.testing.assert_array_equal(found.directed > 0, (at > 50.0) & (at < 100.0))
    assert np.isfinite(found.magnitude_n[at < 100.0][1:]).all()
    assert np.isnan(found.magnitude_n[at > 100.0]).all()
    assert np.isfinite(found.speed_deg_s[(at > 5.0) & (at < 145.0)]).all()


def test_the_uncertainty_of_a_bin_does_not_shrink_with_its_samples(
    series: Maker, elevation: Floats
) -> None:
    u = np.deg2rad(np.where(np.arange(len(elevation)) % 2, 1.0, 2.0))

    found = profile(replace(series(elevation), azimuth_u_rad=u)).raising

    assert found.azimuth_u_deg[2:28] == pytest.approx(np.sqrt(2.5), abs=0.1)
    assert found.superior_angle_u_deg[2:28] == pytest.approx(0.7)
    assert found.off_axis_u_deg[2:28] == pytest.approx(0.7)


def test_force_and_glide_have_their_uncertainty_along_the_arc(
    series: Maker, elevation: Floats
) -> None:
    """0.2 N by calibration, 0.03 N of noise, what the pose adds; none without its sources."""
    found = profile(series(elevation)).raising
    unknown = profile(replace(series(elevation), sources=None)).raising

    assert found.magnitude_u_n[2:28] == pytest.approx(np.hypot(0.2, 0.03), abs=0.03)
    assert (found.glide_u_n[2:28] >= found.magnitude_u_n[2:28] - 1e-9).all()
    assert np.isnan(found.magnitude_u_n[found.held == 0]).all()
    assert np.isnan(unknown.magnitude_u_n).all()
    assert np.isfinite(unknown.magnitude_n[2:28]).all()


def test_a_way_that_is_not_in_the_recording_has_an_empty_profile(
    series: Maker, elevation: Floats
) -> None:
    found = profile(series(elevation[:1000]))

    assert np.isnan(found.lowering.magnitude_n).all()
    assert found.lowering.held.sum() == 0


def test_it_goes_out_as_plain_values(series: Maker, elevation: Floats) -> None:
    """Counts are whole numbers, what is not known is null."""
    plain = profile(series(elevation)).to_dict()

    again = json.loads(json.dumps(plain, allow_nan=False))
    assert list(again) == ["raise", "lower"]
    way = again["raise"]
    assert way["elevation_deg"][:2] == [2.5, 7.5]
    assert all(len(values) == 36 for values in way.values())
    assert isinstance(way["directed"][3], int)
    assert way["magnitude_n"][3] == pytest.approx(40.0)
    assert way["off_axis_u_deg"][3] == pytest.approx(0.7)
    assert way["magnitude_n"][-1] is None  # the arm never was there
    assert way["directed"][-1] == 0
