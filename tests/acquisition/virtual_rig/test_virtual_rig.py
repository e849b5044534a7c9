from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquisition.errors import DescriptionError, PortError
from acquisition.physical import PhysicalUnits
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from acquisition.virtual_rig.virtual_rig import CHUNK_SAMPLES
from acquisition.virtual_rig.world import EASE_S

MakeRig = Callable[..., VirtualRig]
SPAN = 3 * CHUNK_SAMPLES + 700


def joined(read: Callable[[int, int], NDArray[np.int32]], cuts: list[int]) -> NDArray[np.int32]:
    edges = [0, *sorted(cuts), SPAN]
    pieces = [read(low, high - low) for low, high in pairwise(edges)]
    return np.concatenate(pieces)


@settings(max_examples=30, deadline=None)
@given(cuts=st.lists(st.integers(0, SPAN), max_size=12), backwards=st.booleans())
def test_cutting_the_samples_anywhere_changes_no_count(cuts: list[int], backwards: bool) -> None:
    """Also when pieces from elsewhere were asked for before."""
    asked, whole = (VirtualRig(default_rig(), trainee("T05"), seed=11) for _ in range(2))
    if backwards:
        asked.force_counts(40_000, 10)
        asked.imu_counts(20_000, 10)

    assert np.array_equal(joined(asked.force_counts, cuts), whole.force_counts(0, SPAN))
    assert np.array_equal(joined(asked.imu_counts, cuts), whole.imu_counts(0, SPAN))


def test_only_another_seed_or_person_gives_other_counts(make_rig: MakeRig) -> None:
    def signature(**options: object) -> bytes:
        rig = make_rig(**options)
        return rig.force_counts(9000, 200).tobytes() + rig.imu_counts(4500, 100).tobytes()

    assert signature() == signature()
    assert len({signature(), signature(seed=8), signature(code="E02"), signature(side="left")}) == 4


def test_the_counts_of_a_seed_stay_the_same_from_release_to_release(make_rig: MakeRig) -> None:
    """Written down once; another processor may round a sine, and so a count, otherwise."""
    rig = make_rig("T03", seed=7)

    assert rig.force_counts(12_000, 2) == pytest.approx(np.array(GOLDEN_FORCE), abs=1)
    assert rig.imu_counts(6_000, 2) == pytest.approx(np.array(GOLDEN_IMU), abs=1)


GOLDEN_FORCE = [[-133214, 583450, 376205], [-134684, 584055, 374543]]
GOLDEN_IMU = [[3716, -6517, -3269, -2926, -2204, 846], [3699, -6554, -3295, -2909, -2192, 829]]


@pytest.mark.parametrize(("side", "axes"), [("right", 3), ("left", 3), ("right", 6), ("left", 6)])
def test_decoded_counts_give_back_the_push_to_noise_while_the_arm_hangs(
    make_rig: MakeRig, side: str, axes: int
) -> None:
    """The hand is on and the arm still at home: what came on top of the rest before is the hand.

    Noise is 0.08 N in every axis; the resolver's own code turns counts into newtons.
    """
    rig = make_rig("E01", side, axes)
    time_s = rig.force_time_s(0, 7000)
    truth = rig.truth(time_s)
    still = (truth.elevation_rad == 0.0) & (truth.magnitude_n > 35.0)
    units = PhysicalUnits(rig.rig)
    force = units.wrench(rig.force_counts(0, 7000), rig.streams[0].spec).force_n
    zero = force[: 3 * 1000].mean(axis=0)

    error = force[still] - zero - truth.force_n[still]

    assert still.sum() > 1000
    assert error.mean(axis=0) == pytest.approx(np.zeros(3), abs=5 * 0.08 / math.sqrt(1000))
    assert error.std(axis=0) == pytest.approx(np.full(3, 0.08), rel=0.1)


@pytest.mark.parametrize("plane_deg", [0.0, 30.0, 90.0])
def test_at_the_top_only_weight_and_offset_stand_between_reading_and_push(
    make_rig: MakeRig, plane_deg: float
) -> None:
    rig = make_rig("E01", plane_deg=plane_deg)
    plan = rig.truth(np.array([90.0])).repetitions[0]
    first = int((plan.top_start_s + 0.1) * 1000)
    count = 700
    truth = rig.truth(rig.force_time_s(first, count))
    units, spec = PhysicalUnits(rig.rig), rig.streams[0].spec
    rest = units.wrench(rig.force_counts(0, 3000), spec).force_n.mean(axis=0)
    weight = np.array([0.0, -0.32 * 9.80665, 0.0])

    read = units.wrench(rig.force_counts(first, count), spec).force_n
    hand = np.einsum("nij,nj->ni", truth.humerus_to_base, read - (rest - weight)) - weight

    assert np.rad2deg(truth.elevation_rad.min()) > 140
    assert (hand - truth.force_n).mean(axis=0) == pytest.approx(np.zeros(3), abs=0.02)


def test_the_imu_has_its_own_slightly_different_clock(make_rig: MakeRig) -> None:
    rig = make_rig()
    times = rig.imu_time_s(0, 10_001)

    rate_hz = 10_000 / (times[-1] - times[0])

    assert rig.streams[1].spec.rate_hz == 500.0
    assert rate_hz == pytest.approx(500.65)
    assert 0.0 < times[0] < 0.001
    assert rig.force_time_s(5, 2) == pytest.approx(np.array([0.005, 0.006]))


def test_streams_end_with_the_trial_and_an_endless_trial_has_no_end(make_rig: MakeRig) -> None:
    rig, endless = make_rig(), make_rig(repetitions=None)
    last = [stream.time_s(int(stream.sample_count) - 1, 2) for stream in rig.streams]

    assert all(inside < rig.duration_s <= outside for inside, outside in last)
    assert math.isinf(endless.duration_s)
    assert endless.force_counts(3_600_000, 5).shape == (5, 3)


def test_a_sloping_bench_shows_in_the_accelerometer_and_not_in_the_pose(
    make_rig: MakeRig,
) -> None:
    rig = make_rig("E01", "left")
    inertial = PhysicalUnits(rig.rig).inertial(rig.imu_counts(0, 1500), rig.streams[1].spec)
    up = inertial.specific_force_m_s2.mean(axis=0) / 9.80665
    lean_deg = np.rad2deg(np.arctan2(up[0], up[1]))

    assert lean_deg == pytest.approx(2.0, abs=0.25)  # 3 mg of bias are 0.17°
    assert rig.truth(np.array([0.0])).humerus_to_base[0] == pytest.approx(np.eye(3))


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"seed": -1}, "seed = -1"),
        ({"repetitions": -2}, "repetitions = -2"),
        ({"plane_deg": 200.0}, "plane = 200 must lie between"),
        ({"top_deg": float("nan")}, "top = nan"),
        ({"axial_deg": 99.0}, "axial = 99"),
    ],
)
def test_numbers_out_of_range_are_refused(
    make_rig: MakeRig, options: dict[str, float], message: str
) -> None:
    with pytest.raises(PortError, match=message):
        make_rig(**options)


def test_samples_before_the_first_are_refused(make_rig: MakeRig) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        make_rig().force_counts(-1, 5)


def test_no_samples_are_an_empty_table(make_rig: MakeRig) -> None:
    assert make_rig(axes=6).force_counts(2048, 0).shape == (0, 6)
    assert make_rig().truth(np.empty(0)).force_n.shape == (0, 3)


def test_the_shipped_rigs_are_four_different_ones() -> None:
    rigs = [default_rig(side, axes) for side in ("right", "left") for axes in (3, 6)]

    assert len({rig.rig.id for rig in rigs}) == 4
    for rig in rigs:
        for rows in (rig.cell.to_humerus, rig.imu.to_humerus):
            turn_deg = np.rad2deg(np.arccos((np.trace(np.array(rows)) - 1.0) / 2.0))
            assert turn_deg > 20.0
    with pytest.raises(DescriptionError, match="no virtual rig with side 'up' and 4 axes"):
        default_rig("up", 4)


def test_called_to_stop_the_hand_eases_off_after_its_reaction(make_rig: MakeRig) -> None:
    """All of the push is there until then, none is left 0.35 s later, and the arm goes on."""
    rig = make_rig(stop_reaction_s=0.3)
    time_s = np.arange(9.0, 11.0, 0.01)
    before = rig.truth(time_s)
    counts = rig.force_counts(9_000, 2_000)

    rig.call_stop(10.0)

    after = rig.truth(time_s)
    held, gone = time_s < 10.3, time_s > 10.3 + EASE_S + 0.001
    assert (after.force_n[held] == before.force_n[held]).all()
    assert (after.force_n[gone] == 0.0).all()
    assert (before.force_n[gone] != 0.0).any(axis=1).all()
    assert (after.elevation_rad == before.elevation_rad).all()
    again = rig.force_counts(9_000, 2_000)
    assert (again[:1300] == counts[:1300]).all()
    assert (again[1700:] != counts[1700:]).any()


def test_the_next_repetition_is_pushed_as_ever(make_rig: MakeRig) -> None:
    rig, called = make_rig(repetitions=2), make_rig(repetitions=2)

    called.call_stop(10.0)

    late = np.arange(45.0, 50.0, 0.1)
    assert (called.truth(late).force_n == rig.truth(late).force_n).all()


def test_a_script_that_begins_again_has_forgotten_the_call(make_rig: MakeRig) -> None:
    rig = make_rig()
    before = rig.force_counts(9_000, 2_000)
    rig.call_stop(9.5)

    rig.begin_again()

    assert (rig.force_counts(9_000, 2_000) == before).all()
