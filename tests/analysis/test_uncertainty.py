"""First-order uncertainties against drawing the whole nonlinear model many times (JCGM 101)."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import msgspec
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from acquisition.virtual_rig import SensorModel, default_rig
from analysis.pipeline import analyse
from analysis.resolve import push_angles
from analysis.target import Target
from analysis.turns import Turns
from analysis.uncertainty import (
    DirectionUncertainty,
    Shown,
    UncertaintySources,
    direction_uncertainty,
    force_uncertainty,
    pose_uncertainty,
    sources_of,
)

Floats = NDArray[np.float64]
Maker = Callable[..., Any]
TARGET = Target().direction
POSE = Rotation.from_rotvec([0.4, -0.9, 0.3])
"""Of the humerus in the base, for what turns with the arm."""
DRAWS = 200_000
EXACT = UncertaintySources(
    force_variance_n2=0.0,
    cell_covariance_n2=None,
    force_share=0.0,
    mass_kg=0.0,
    inclination_rad=0.0,
    heading_rad=0.0,
    heading_drift_rad_s=0.0,
    mounting_rad=0.0,
    weight_n=np.array([0.0, -8.0, 0.0]),
)


def first_order(
    force_n: list[float], sources: UncertaintySources, age_s: float = 0.0
) -> DirectionUncertainty:
    return direction_uncertainty(
        np.array([force_n]), TARGET, np.array([age_s]), sources, Turns(POSE.as_quat()[np.newaxis])
    )


def every_u(force_n: list[float], sources: UncertaintySources, age_s: float) -> dict[str, float]:
    """Return the first order of angles and force, by name."""
    pose = Turns(POSE.as_quat()[np.newaxis])
    force = force_uncertainty(np.array([force_n]), TARGET, np.array([age_s]), sources, pose)
    both = (first_order(force_n, sources, age_s), force)
    return {
        field.name: float(getattr(one, field.name)[0])
        for one in both
        for field in dataclasses.fields(one)
    }


def simulated(force_n: list[float], sources: UncertaintySources, age_s: float) -> dict[str, float]:
    """Draw every input, resolve as an analysis would, return the SD of each quantity."""
    rng = np.random.default_rng(7)
    normal = rng.standard_normal((DRAWS, 3))
    heading = np.hypot(sources.heading_rad, sources.heading_drift_rad_s * age_s)
    tilts = rng.standard_normal((DRAWS, 3)) * [
        sources.inclination_rad,
        heading,
        sources.inclination_rad,
    ]
    mounting = Rotation.from_rotvec(rng.standard_normal((DRAWS, 3)) * sources.mounting_rad)
    mass_error_n = rng.standard_normal(DRAWS) * sources.mass_kg * 9.80665
    measured = mounting.apply(np.array(force_n) + sources.weight_n)
    measured += np.sqrt(sources.force_variance_n2) * normal
    coefficients = rng.standard_normal((DRAWS, 3, 3)) * sources.force_share
    measured += np.einsum("nij,j->ni", coefficients, np.array(force_n) + sources.weight_n)
    if sources.cell_covariance_n2 is not None:
        inside = rng.multivariate_normal(np.zeros(3), sources.cell_covariance_n2, DRAWS)
        measured += POSE.apply(inside)
    hand = measured - sources.weight_n
    hand[:, 1] += mass_error_n
    hand = np.asarray(Rotation.from_rotvec(tilts).apply(hand))
    angles = push_angles(hand, TARGET)
    return {
        "magnitude_n": float(np.linalg.norm(hand, axis=1).std()),
        "glide_n": float(angles.glide_n.std()),
        "superior_n": float(hand[:, 1].std()),
        "azimuth_rad": float(angles.azimuth_rad.std()),
        "superior_angle_rad": float(angles.superior_angle_rad.std()),
        "off_axis_rad": float(angles.off_axis_rad.std()),
    }


def random_covariance(seed: int) -> Floats:
    root = np.random.default_rng(seed).normal(0.0, 0.3, (3, 3))
    return np.asarray(root @ root.T)


@pytest.mark.parametrize("seed", range(3))
def test_the_formula_agrees_with_drawing_all_inputs_at_once(seed: int) -> None:
    """The push and the errors of a published-style budget: 8 N shell, 0.8° tilt, 2° heading."""
    force_n = [-30.0, 5.0, 20.0]
    sources = dataclasses.replace(
        EXACT,
        force_variance_n2=0.01,
        cell_covariance_n2=random_covariance(seed),
        force_share=0.01,
        mass_kg=0.03,
        inclination_rad=np.deg2rad(0.8),
        heading_rad=np.deg2rad(1.6),
        heading_drift_rad_s=np.deg2rad(0.02),
        mounting_rad=np.deg2rad(0.5),
    )

    found = every_u(force_n, sources, age_s=60.0)

    for name, expected in simulated(force_n, sources, age_s=60.0).items():
        # 200 000 draws leave 0.16 %; the rest is the second order.
        assert found[name] == pytest.approx(expected, rel=0.015), name


@pytest.mark.parametrize(
    ("source", "value"),
    [
        ("force_variance_n2", 0.16),
        ("cell_covariance_n2", random_covariance(5)),
        ("force_share", 0.02),
        ("mass_kg", 0.05),
        ("inclination_rad", np.deg2rad(0.8)),
        ("heading_rad", np.deg2rad(2.0)),
        ("mounting_rad", np.deg2rad(0.8)),
    ],
)
def test_each_part_alone_agrees_with_drawing_it(source: str, value: float) -> None:
    force_n = [-12.0, -6.0, 9.0]
    sources = dataclasses.replace(EXACT, **{source: value})  # type: ignore[arg-type]  # by name

    found = every_u(force_n, sources, age_s=0.0)

    for name, expected in simulated(force_n, sources, age_s=0.0).items():
        assert found[name] == pytest.approx(expected, rel=0.02, abs=1e-3), name


@pytest.mark.parametrize(
    ("sigma_n", "force_n", "mean_deg", "radius95_deg"),
    [(0.2, 10.0, 1.4, 2.8), (0.2, 40.0, 0.4, 0.7), (0.5, 20.0, 1.8, 3.5), (1.0, 40.0, 1.8, 3.5)],
)
def test_equal_noise_on_a_perfect_aim_is_a_rayleigh_cloud(
    sigma_n: float, force_n: float, mean_deg: float, radius95_deg: float
) -> None:
    """Rayleigh distribution: mean √(π/2)·u, 95 % inside 2.448·u; the table rounds to 0.1°."""
    sources = dataclasses.replace(EXACT, force_variance_n2=sigma_n**2)
    push = force_n * TARGET

    u_deg = np.rad2deg(first_order(list(push), sources).off_axis_rad[0])

    noise = np.random.default_rng(3).normal(0.0, sigma_n, (DRAWS, 3))
    drawn_deg = np.rad2deg(push_angles(push + noise, TARGET).off_axis_rad)
    assert np.sqrt(np.pi / 2) * u_deg == pytest.approx(mean_deg, abs=0.055)
    assert 2.448 * u_deg == pytest.approx(radius95_deg, abs=0.055)
    assert np.sqrt(np.pi / 2) * u_deg == pytest.approx(drawn_deg.mean(), rel=0.01)
    assert 2.448 * u_deg == pytest.approx(np.percentile(drawn_deg, 95), rel=0.015)


def test_half_a_newton_weighs_as_the_design_says() -> None:
    """0.7° at 40 N and 5.7° at 5 N: 0.5/40 and 0.5/5 in radians."""
    sources = dataclasses.replace(EXACT, force_variance_n2=0.25)

    firm, light = (
        np.rad2deg(first_order([-size, 0.0, 0.0], sources).azimuth_rad[0]) for size in (40.0, 5.0)
    )

    assert firm == pytest.approx(0.7, abs=0.05)
    assert light == pytest.approx(5.7, abs=0.05)


def test_the_superior_angle_does_not_depend_on_the_heading() -> None:
    sources = dataclasses.replace(EXACT, heading_rad=np.deg2rad(1.0))

    found = first_order([-30.0, 12.0, 20.0], sources)
    aged = first_order(
        [-30.0, 12.0, 20.0],
        dataclasses.replace(sources, heading_drift_rad_s=0.001),
        age_s=np.inf,
    )

    assert found.superior_angle_rad[0] == pytest.approx(0.0, abs=1e-9)
    assert aged.superior_angle_rad[0] == pytest.approx(0.0, abs=1e-9)
    assert np.isinf(aged.azimuth_rad[0])
    assert np.isinf(aged.worst_rad[0])


def test_the_heading_moves_the_azimuth_one_to_one() -> None:
    sources = dataclasses.replace(EXACT, heading_rad=np.deg2rad(1.3))

    found = first_order([-30.0, 18.0, 20.0], sources)

    assert np.rad2deg(found.azimuth_rad[0]) == pytest.approx(1.3, rel=1e-9)


def test_an_unknown_force_has_an_unknown_uncertainty() -> None:
    found = first_order([np.nan, 0.0, 1.0], EXACT)

    assert np.isnan(found.off_axis_rad[0])
    assert np.isnan(found.worst_rad[0])


def test_a_rig_description_states_what_no_recording_shows() -> None:
    rig = default_rig("left")

    shown = Shown(noise_n=0.03, zero_scatter_n=0.04)
    sources = sources_of(rig, shown, heading_drift_rad_s=1e-4)

    expected_n2 = 0.03**2 + 0.04**2 + rig.cell.force_u_n**2
    assert sources.force_variance_n2 == pytest.approx(expected_n2)
    assert sources.cell_covariance_n2 is None
    assert np.linalg.norm(sources.weight_n) == pytest.approx(rig.shell.mass_kg * 9.80665)
    assert sources.up @ np.array(rig.home.vertical_in_base) == pytest.approx(1.0)


def test_faults_that_a_recording_shows_add_in_quadrature() -> None:
    """Half a rectangle's width over √3 (GUM 4.3.7); a tilt is shared by two axes."""
    rig = default_rig("right")
    quiet = sources_of(rig, Shown(noise_n=0.0), heading_drift_rad_s=0.0)

    shown = Shown(noise_n=0.0, zero_moved_n=0.9, home_tilt_rad=0.03, home_scatter_rad=0.04)
    faulty = sources_of(rig, shown, heading_drift_rad_s=0.0)

    more_n2 = faulty.force_variance_n2 - quiet.force_variance_n2
    assert more_n2 == pytest.approx(0.9**2 / 3.0)
    more_rad2 = faulty.inclination_rad**2 - quiet.inclination_rad**2
    assert more_rad2 == pytest.approx(0.05**2 / 2.0)


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_covariance_of_a_certificate_is_turned_into_the_humerus(side: str) -> None:
    """It takes the place of the one number; what a left cell's axes see is mirrored in Z."""
    rig = default_rig(side)
    covariance = random_covariance(3)
    rows = tuple(tuple(row) for row in covariance.tolist())
    cell = msgspec.structs.replace(rig.cell, force_covariance_n2=rows, force_relative_u=0.004)
    certified = msgspec.structs.replace(rig, cell=cell)

    sources = sources_of(certified, Shown(noise_n=0.03), heading_drift_rad_s=0.0)

    assert sources.force_variance_n2 == pytest.approx(0.03**2)
    assert sources.force_share == 0.004
    noise = np.random.default_rng(1).multivariate_normal(np.zeros(3), covariance, DRAWS)
    turned = noise @ np.array(rig.cell.to_humerus).T * [1.0, 1.0, 1.0 if side == "right" else -1.0]
    assert sources.cell_covariance_n2 == pytest.approx(np.cov(turned.T), abs=0.02)


def test_a_covariance_of_the_cell_asks_for_the_pose() -> None:
    sources = dataclasses.replace(EXACT, cell_covariance_n2=random_covariance(1))

    with pytest.raises(ValueError, match="give its pose"):
        direction_uncertainty(np.array([[-40.0, 0.0, 0.0]]), TARGET, np.zeros(1), sources)


def test_a_certificate_reaches_the_angles_of_a_recording(told: Maker) -> None:
    """A cell known badly along one of its axes: the angles it turns into are less certain."""
    model = SensorModel(force_rate_hz=100.0, imu_rate_hz=100.0)
    recording = told("left", 3, "E01", seed=4, repetitions=1, model=model).recording
    cell = msgspec.structs.replace(
        recording.rig.cell,
        force_covariance_n2=((0.04, 0.0, 0.0), (0.0, 0.04, 0.0), (0.0, 0.0, 2.25)),
    )
    rig = msgspec.structs.replace(recording.rig, cell=cell)

    plain = analyse(recording).series
    certified = analyse(dataclasses.replace(recording, rig=rig)).series

    on = plain.directed & certified.directed
    more = certified.off_axis_u_rad[on] ** 2 + 1e-12 - plain.off_axis_u_rad[on] ** 2
    assert on.any()
    assert more.min() >= 0.0
    # The arm turns that axis through the base: now it matters, now it does not.
    assert more.max() > 10.0 * more.min()


@pytest.mark.parametrize("up", [(0.0, 1.0, 0.0), (0.25, 0.95, -0.19)], ids=["level", "sloping"])
@pytest.mark.parametrize(("elevation_deg", "plane_deg"), [(30.0, 0.0), (80.0, 40.0), (140.0, 90.0)])
def test_the_pose_is_as_uncertain_as_drawing_its_turn_says(
    up: tuple[float, float, float], elevation_deg: float, plane_deg: float
) -> None:
    """Inclination about the horizontal axes, heading about the vertical, on any base."""
    upward = np.array(up) / np.linalg.norm(up)
    sources = dataclasses.replace(
        EXACT,
        inclination_rad=np.deg2rad(0.5),
        heading_rad=np.deg2rad(0.9),
        heading_drift_rad_s=np.deg2rad(0.01),
        weight_n=-3.0 * upward,
    )
    elevation, plane = np.deg2rad([elevation_deg, plane_deg])
    distal = [
        np.sin(elevation) * np.sin(plane), -np.cos(elevation), np.sin(elevation) * np.cos(plane)
    ]  # fmt: skip
    heading = np.hypot(sources.heading_rad, sources.heading_drift_rad_s * 40.0)
    draws = np.random.default_rng(2).standard_normal((DRAWS, 3))
    along = (draws @ upward)[:, np.newaxis] * upward
    turned = Rotation.from_rotvec(sources.inclination_rad * (draws - along) + heading * along)
    x, y, z = turned.apply(distal).T

    found = pose_uncertainty(np.array([elevation]), np.array([plane]), np.array([40.0]), sources)

    raised = np.arctan2(np.hypot(x, z), -y)
    assert found.elevation_rad[0] == pytest.approx(raised.std(), rel=0.01)
    assert found.plane_rad[0] == pytest.approx(np.arctan2(x, z).std(), rel=0.01)


def test_an_unknown_heading_leaves_the_elevation_of_a_level_base_alone() -> None:
    sources = dataclasses.replace(
        EXACT, inclination_rad=np.deg2rad(0.5), heading_drift_rad_s=np.deg2rad(0.01)
    )
    elevation = np.deg2rad([60.0, 60.0, np.nan])

    found = pose_uncertainty(elevation, np.array([0.4, np.nan, 0.4]), np.full(3, np.inf), sources)

    assert np.rad2deg(found.elevation_rad[:2]) == pytest.approx(0.5)
    assert np.isnan(found.elevation_rad[2])
    assert np.isinf(found.plane_rad[0])
    assert np.isnan(found.plane_rad[1])


def test_light_force_makes_directions_uncertain_and_its_size_not() -> None:
    sources = dataclasses.replace(EXACT, force_variance_n2=0.04)

    for size in (5.0, 40.0):
        found = every_u([-size, 0.0, 0.0], sources, 0.0)
        assert found["magnitude_n"] == pytest.approx(0.2)
        assert found["azimuth_rad"] == pytest.approx(0.2 / size)
