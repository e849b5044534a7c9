"""What the sensors read, checked by sums done by hand and by differences, not by our formulas."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.physical import PhysicalUnits
from acquisition.rig import RigDescription
from acquisition.virtual_rig import SensorModel, Trainee, VirtualRig, default_rig
from acquisition.virtual_rig.sensors import Imu, LoadCell, specific_force
from acquisition.virtual_rig.world import WorldState

Floats = NDArray[np.float64]
Still = Callable[..., WorldState]
PlainRig = Callable[..., RigDescription]

WEIGHT_N = 0.32 * 9.80665
UP = np.array([0.0, 1.0, 0.0])


def read_force(rig: RigDescription, model: SensorModel, state: WorldState) -> Floats:
    cell = LoadCell(rig, model, seed=1, who="E01")
    force: Floats = PhysicalUnits(rig).wrench(cell.counts(state, 0), cell.spec).force_n[0]
    return force


def as_built_force(rig: RigDescription, model: SensorModel, state: WorldState) -> Floats:
    """Undo calibration and mounting only: what stands on the bench, sides and all."""
    cell = LoadCell(rig, model, seed=1, who="E01")
    counts = cell.counts(state, 0)[0] - np.array(rig.cell.zero_counts)
    in_cell = np.array(rig.cell.calibration_matrix) @ counts
    in_humerus: Floats = np.array(rig.cell.to_humerus) @ in_cell[:3]
    return in_humerus


@pytest.mark.parametrize(
    ("elevation_deg", "plane_deg", "weight"),
    [
        (0.0, 0.0, (0.0, -1.0, 0.0)),  # hanging: down the shaft
        (90.0, 0.0, (0.0, 0.0, -1.0)),  # abducted: H's Z points up, so weight is along −Z
        (90.0, 90.0, (-1.0, 0.0, 0.0)),  # flexed: H's X points up
        (180.0, 0.0, (0.0, 1.0, 0.0)),  # overhead: H upside down
        (60.0, 0.0, (0.0, -0.5, -0.8660254037844386)),
    ],
)
def test_the_shells_weight_turns_with_the_arm(
    still: Still,
    ideal: SensorModel,
    elevation_deg: float,
    plane_deg: float,
    weight: tuple[float, float, float],
) -> None:
    force = read_force(default_rig(), ideal, still(elevation_deg, plane_deg))

    assert force == pytest.approx(WEIGHT_N * np.array(weight), abs=1e-4)  # a count is 5e-5 N


def test_a_push_at_home_is_read_as_it_is_plus_the_weight(still: Still, ideal: SensorModel) -> None:
    state = still(0.0, force_n=(-34.0, -3.5, 20.0))

    force = read_force(default_rig(), ideal, state)

    assert force == pytest.approx(np.array([-34.0, -3.5 - WEIGHT_N, 20.0]), abs=1e-4)


def test_on_an_abducted_arm_a_push_backward_is_still_backward(
    still: Still, ideal: SensorModel
) -> None:
    """In abduction H turns about X only: a push along −X keeps its place."""
    force = read_force(default_rig(), ideal, still(90.0, force_n=(-40.0, 0.0, 0.0)))

    assert force == pytest.approx(np.array([-40.0, 0.0, -WEIGHT_N]), abs=1e-4)


def test_on_a_left_rig_lateral_is_to_the_left(still: Still, ideal: SensorModel) -> None:
    """Z points to the right as built; a right shoulder's lateral 20 N stand there as −20 N."""
    rig = default_rig("left")
    state = still(0.0, force_n=(-34.0, 0.0, 20.0))

    weight = 0.31 * 9.80665 * np.array(rig.home.vertical_in_base)
    as_built = as_built_force(rig, ideal, state)

    assert as_built == pytest.approx(np.array([-34.0, 0.0, -20.0]) - weight, abs=1e-4)


@pytest.mark.parametrize(("side", "sign"), [("right", -1.0), ("left", 1.0)])
def test_abduction_turns_about_the_axis_of_its_side(
    ideal: SensorModel, machine: Callable[..., Trainee], side: str, sign: float
) -> None:
    """By the right-hand rule a right arm going sideways turns about −X, a left one about +X."""
    rig = default_rig(side)
    virtual = VirtualRig(rig, machine(), repetitions=1, plane_deg=0.0, axial_deg=0.0, model=ideal)
    rep = virtual.truth(np.array([100.0])).repetitions[0]
    middle = int((rep.raise_start_s + rep.top_start_s) / 2 * 500.65)
    counts = virtual.imu_counts(middle, 1)[0]
    in_imu = counts[3:] * rig.imu.scales.gyro_rad_s

    rate_deg_s = np.rad2deg(np.array(rig.imu.to_humerus) @ in_imu)

    # 150° at 14 °/s: the peak is 1.875 × 14 = 26.25 °/s; a count is 0.008 °/s.
    assert rate_deg_s == pytest.approx(np.array([sign * 26.25, 0.0, 0.0]), abs=0.02)


@pytest.mark.parametrize(("side", "axes"), [("right", 3), ("left", 3), ("right", 6), ("left", 6)])
def test_at_rest_the_imu_feels_standard_gravity_upward(side: str, axes: int) -> None:
    rig = default_rig(side, axes)
    model = SensorModel(accel_bias_m_s2=0.0, gyro_bias_rad_s=0.0)
    virtual = VirtualRig(rig, _anyone(), seed=4, repetitions=0, model=model)
    spec = virtual.streams[1].spec
    felt = PhysicalUnits(rig).inertial(virtual.imu_counts(0, 2000), spec)
    mean = felt.specific_force_m_s2.mean(axis=0)
    up = np.array(rig.home.vertical_in_base) * [1.0, 1.0, 1.0 if side == "right" else -1.0]

    # Noise 0.025 m/s² and 0.0017 rad/s over 2000 samples: five standard errors.
    assert np.linalg.norm(mean) == pytest.approx(9.80665, abs=0.003)
    assert mean == pytest.approx(9.80665 * up, abs=0.003)
    assert felt.angular_rate_rad_s.mean(axis=0) == pytest.approx(np.zeros(3), abs=0.0002)
    assert felt.specific_force_m_s2.std(axis=0) == pytest.approx(np.full(3, 0.025), rel=0.1)


def _anyone() -> Trainee:
    from acquisition.virtual_rig import trainee

    return trainee("E01")


def test_what_an_accelerometer_feels_is_the_second_difference_of_its_place(
    machine: Callable[..., Trainee],
) -> None:
    person = machine("T04")  # fast: inertia matters
    virtual = VirtualRig(default_rig(), person, repetitions=1, plane_deg=30.0)
    point = np.array([0.03, -0.2, 0.05])
    step = 2e-3
    time_s = np.arange(4.0, virtual.duration_s, 0.0101)

    def place(at: Floats) -> Floats:
        where: Floats = virtual.truth(at).humerus_to_base @ point
        return where

    acceleration = (place(time_s + step) - 2 * place(time_s) + place(time_s - step)) / step**2
    poses = virtual.truth(time_s).humerus_to_base
    expected = np.einsum("nji,nj->ni", poses, acceleration + 9.80665 * UP)
    felt = specific_force(virtual._world.at(time_s).arm, point, UP)

    assert np.abs(acceleration).max() > 0.3
    assert felt == pytest.approx(expected, abs=2e-3)


def test_the_force_on_the_shell_does_the_work_that_its_energy_shows(
    machine: Callable[..., Trainee],
) -> None:
    """Power of m·f along the path is the change of ½mv² + mgh: no formula of ours in common."""
    virtual = VirtualRig(default_rig(), machine("T04"), repetitions=1, plane_deg=30.0)
    mass, com = 0.32, np.array([0.02, -0.15, 0.04])
    time_s = np.arange(4.0, virtual.duration_s, 1e-3)
    state = virtual._world.at(time_s)
    poses = state.arm.humerus_to_base
    place = poses @ com
    velocity = np.gradient(place, time_s, axis=0)
    push_n = mass * np.einsum("nij,nj->ni", poses, specific_force(state.arm, com, UP))

    power = np.einsum("ni,ni->n", push_n, velocity)
    work = np.concatenate([[0.0], np.cumsum((power[1:] + power[:-1]) / 2 * 1e-3)])
    energy = 0.5 * mass * (velocity**2).sum(axis=1) + mass * 9.80665 * place[:, 1]

    assert np.ptp(energy) > 0.5
    assert work == pytest.approx(energy - energy[0], abs=1e-4)


@pytest.mark.parametrize(
    ("centre_m", "origin_m", "on_head", "force_n", "moment_nm"),
    [
        (
            (0.0, 0.0, 0.0),
            (0.0, 0.0, 0.0),
            (np.cos(np.pi / 6), 0.0, -0.5),
            (-30.0, -4.0, 12.0),
            (-0.05, 0.1151923789, -0.0866025404),
        ),
        (
            (0.0, 0.15, 0.0),
            (0.0, 0.0, 0.0),
            tuple(np.array([-2.0, 1.0, 1.0]) / np.sqrt(6.0)),
            (25.0, -3.0, -14.0),
            (-2.21226828, -0.03061862, -3.94391794),
        ),
        (  # the same, with the cell 150 mm below the head instead of the head above the cell
            (0.0, 0.0, 0.0),
            (0.0, -0.15, 0.0),
            tuple(np.array([-2.0, 1.0, 1.0]) / np.sqrt(6.0)),
            (25.0, -3.0, -14.0),
            (-2.21226828, -0.03061862, -3.94391794),
        ),
    ],
)
def test_a_push_on_the_head_has_the_worked_moment(
    still: Still,
    plain_rig: PlainRig,
    ideal: SensorModel,
    centre_m: Any,
    origin_m: Any,
    on_head: Any,
    force_n: Any,
    moment_nm: Any,
) -> None:
    """Contact on a sphere: examples after Bicchi, Salisbury & Brock 1993, IJRR 12(3)."""
    rig = plain_rig(
        axes=6,
        head={"centre_m": centre_m, "radius_m": 0.025},
        shell={"mass_kg": 0.0},
        cell={"origin_m": origin_m},
    )
    cell = LoadCell(rig, ideal, seed=1, who="E01")
    state = still(0.0, force_n=force_n, on_head=on_head)

    found = PhysicalUnits(rig).wrench(cell.counts(state, 0), cell.spec)

    assert found.force_n[0] == pytest.approx(np.array(force_n), abs=1e-4)
    assert found.moment_nm is not None
    assert found.moment_nm[0] == pytest.approx(np.array(moment_nm), abs=1e-5)


def test_the_hanging_shell_twists_the_cell_by_its_lever(
    still: Still, plain_rig: PlainRig, ideal: SensorModel
) -> None:
    """0.5 kg, 20 mm in front of the cell: 4.903 N pulling down make −0.0981 N·m about Z."""
    rig = plain_rig(
        axes=6,
        shell={"mass_kg": 0.5, "com_m": (0.02, 0.0, 0.0)},
        cell={"origin_m": (0.0, 0.0, 0.0)},
    )
    cell = LoadCell(rig, ideal, seed=1, who="E01")

    moment = PhysicalUnits(rig).wrench(cell.counts(still(0.0), 0), cell.spec).moment_nm

    assert moment is not None
    assert moment[0] == pytest.approx(np.array([0.0, 0.0, -0.0980665]), abs=1e-5)


def test_a_left_rig_built_as_the_mirror_image_gives_the_same_right_shoulder(
    plain_rig: PlainRig, ideal: SensorModel, machine: Callable[..., Trainee]
) -> None:
    right = plain_rig("right", 6)
    flip = np.array([1.0, 1.0, -1.0])

    def flipped(vector: tuple[float, float, float]) -> tuple[float, ...]:
        return tuple((np.array(vector) * flip).tolist())

    left = plain_rig(
        "left",
        6,
        cell={"origin_m": flipped(right.cell.origin_m)},
        imu={"lever_m": flipped(right.imu.lever_m)},
        shell={"mass_kg": right.shell.mass_kg, "com_m": flipped(right.shell.com_m)},
        head={"centre_m": flipped(right.head.centre_m), "radius_m": right.head.radius_m},
        home={"vertical_in_base": flipped(right.home.vertical_in_base)},
    )

    def decoded(rig: RigDescription) -> list[Floats]:
        virtual = VirtualRig(rig, machine("T11"), repetitions=1, model=ideal)
        units = PhysicalUnits(rig)
        wrench = units.wrench(virtual.force_counts(0, 25_000), virtual.streams[0].spec)
        inertial = units.inertial(virtual.imu_counts(0, 12_000), virtual.streams[1].spec)
        assert wrench.moment_nm is not None
        return [
            wrench.force_n,
            wrench.moment_nm,
            inertial.specific_force_m_s2,
            inertial.angular_rate_rad_s,
        ]

    for found, expected, quantum in zip(
        decoded(left), decoded(right), (1e-4, 5e-6, 2.5e-3, 3e-4), strict=True
    ):
        assert np.abs(expected).max() > 100 * quantum
        assert found == pytest.approx(expected, abs=quantum)


def test_counts_stop_at_the_rails(still: Still, ideal: SensorModel) -> None:
    cell = LoadCell(default_rig(), ideal, seed=1, who="E01")
    channels = cell.spec.channels

    counts = cell.counts(still(0.0, force_n=(-5000.0, 300.0, 5000.0)), 0)[0]
    flags = PhysicalUnits(default_rig()).wrench(counts[np.newaxis], cell.spec).saturated

    assert counts.min() == channels[0].count_min == -(2**23)
    assert counts.max() == channels[0].count_max == 2**23 - 1
    assert flags.all()


def test_a_sixteen_bit_converter_goes_over_the_wire_in_two_bytes(still: Still) -> None:
    cell = LoadCell(default_rig(), SensorModel(force_bits=16), seed=1, who="E01")

    assert cell.spec.sample_type.name == "INT16"
    assert (cell.spec.channels[0].count_min, cell.spec.channels[0].count_max) == (-32768, 32767)


def test_offsets_belong_to_the_rig_and_the_seed_and_have_ordinary_size(still: Still) -> None:
    rig = default_rig()

    def offset(seed: int, who: str) -> tuple[float, ...]:
        quiet = SensorModel(gyro_noise_rad_s=0.0, accel_noise_m_s2=0.0)
        imu = Imu(rig, quiet, seed=seed, who=who)
        return tuple((imu.counts(still(0.0), 0)[0, 3:] * rig.imu.scales.gyro_rad_s).tolist())

    drawn = np.rad2deg([offset(seed, "E01") for seed in range(200)])

    assert offset(5, "E01") == offset(5, "T03")
    assert offset(5, "E01") != offset(6, "E01")
    assert np.abs(drawn).max() < 0.82
    assert np.sqrt((drawn**2).mean()) == pytest.approx(0.8 / np.sqrt(3.0), rel=0.1)
