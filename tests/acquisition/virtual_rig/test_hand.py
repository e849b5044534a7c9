from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.virtual_rig import SensorModel, Trainee, Truth, VirtualRig, default_rig
from acquisition.virtual_rig.hand import TREMBLE_BAND_HZ, WANDER_BAND_HZ, Waves, push_direction
from acquisition.virtual_rig.world import Phase

Floats = NDArray[np.float64]
Machine = Callable[..., Trainee]


def truth_of(person: Trainee, *, repetitions: int = 1, rate_hz: float = 100.0) -> Truth:
    rig = VirtualRig(default_rig(), person, seed=3, repetitions=repetitions)
    return rig.truth(np.arange(0.0, rig.duration_s, 1.0 / rate_hz))


def during(truth: Truth, *phases: Phase) -> NDArray[np.bool_]:
    return np.isin(truth.phase, phases)


def test_directions_are_the_tabulated_ones() -> None:
    """Azimuth and elevation of worked forces in the base frame (ISB axes)."""
    azimuth, superior = (
        np.deg2rad([33.6900675260, 27.2161115573]),
        np.deg2rad([7.8951421058, -4.3589227844]),
    )
    expected = np.array([(-30.0, 5.0, 20.0), (-35.0, -3.0, 18.0)])

    found = push_direction(azimuth, superior) * np.linalg.norm(expected, axis=1)[:, np.newaxis]

    assert found == pytest.approx(expected, abs=1e-8)


def test_a_steady_hand_pushes_as_told_from_before_the_raise_until_after_home(
    machine: Machine,
) -> None:
    truth = truth_of(machine("E01", superior_drift_deg_per_10deg=0.0))
    moving = during(truth, Phase.RAISE, Phase.TOP, Phase.LOWER)

    assert moving.any()
    assert truth.magnitude_n[moving] == pytest.approx(np.full(moving.sum(), 42.0))
    assert np.rad2deg(truth.azimuth_rad[moving]) == pytest.approx(np.full(moving.sum(), 30.0))
    assert np.rad2deg(truth.superior_angle_rad[moving]) == pytest.approx(
        np.full(moving.sum(), -5.0)
    )


def test_drift_follows_the_elevation_up_and_down_again(machine: Machine) -> None:
    truth = truth_of(machine("T01", superior_deg=-3.0, superior_drift_deg_per_10deg=1.2))
    moving = during(truth, Phase.RAISE, Phase.LOWER)
    elevation = np.rad2deg(truth.elevation_rad[moving])

    slope, start = np.polyfit(elevation, np.rad2deg(truth.superior_angle_rad[moving]), 1)

    assert elevation.max() > 140
    assert slope * 10 == pytest.approx(1.2)
    assert start == pytest.approx(-3.0)


def test_drift_may_begin_at_an_elevation(machine: Machine) -> None:
    truth = truth_of(machine("T08", superior_deg=-1.0, drift_from_deg=60.0))
    low = during(truth, Phase.RAISE) & (truth.elevation_rad < np.deg2rad(60.0))

    assert np.rad2deg(truth.superior_angle_rad[low]) == pytest.approx(np.full(low.sum(), -1.0))
    assert np.rad2deg(np.nanmax(truth.superior_angle_rad)) > 10.0


def test_an_early_release_leaves_the_rest_of_the_way_without_contact(machine: Machine) -> None:
    truth = truth_of(machine("T03", release_elevation_deg=55.0))
    lowering = during(truth, Phase.LOWER)
    held = truth.elevation_rad[lowering & truth.contact]
    free = truth.elevation_rad[lowering & ~truth.contact]

    assert 30.0 < np.rad2deg(held.min()) < 55.0  # letting go takes 0.6 s
    assert np.rad2deg(free.max()) == pytest.approx(np.rad2deg(held.min()), abs=1.0)


def test_a_late_hand_comes_when_the_arm_is_on_its_way(machine: Machine) -> None:
    truth = truth_of(machine("T07", full_force_s=4.0, approach_s=1.5))
    raising = during(truth, Phase.RAISE)
    first = np.flatnonzero(truth.contact)[0]

    assert not during(truth, Phase.SETUP).any()
    assert truth.time_s[first] - truth.time_s[raising][0] == pytest.approx(2.5, abs=0.02)
    assert truth.elevation_rad[first] > 0.1


def test_force_changes_slowly_by_the_share_asked_for(machine: Machine) -> None:
    truth = truth_of(machine("E01", force_change_percent=-50.0))
    moving = during(truth, Phase.RAISE, Phase.TOP, Phase.LOWER)
    rep = truth.repetitions[0]
    share = (truth.time_s[moving] - rep.touch_s) / (rep.release_end_s - rep.touch_s)

    assert truth.magnitude_n[moving] == pytest.approx(42.0 * (1.0 - 0.5 * share))


@pytest.mark.parametrize("band_hz", [TREMBLE_BAND_HZ, WANDER_BAND_HZ])
def test_waves_have_unit_sd_and_lie_in_their_band(band_hz: tuple[float, float]) -> None:
    unit = np.random.default_rng(5).uniform(size=(2, 5))
    time_s = np.arange(0.0, 400.0, 0.02)
    wave = Waves(unit, band_hz)(time_s)

    power = np.abs(np.fft.rfft(wave * np.hanning(len(wave)))) ** 2
    hz = np.fft.rfftfreq(len(wave), 0.02)
    inside = (hz > band_hz[0] - 0.02) & (hz < band_hz[1] + 0.02)

    assert wave.std() == pytest.approx(1.0, abs=0.02)
    assert power[inside].sum() / power.sum() > 0.9999


def test_tremble_has_the_size_asked_for(machine: Machine) -> None:
    truth = truth_of(
        machine("E01", tremble_n=3.0, tremble_deg=2.0, superior_drift_deg_per_10deg=0.0)
    )
    moving = during(truth, Phase.RAISE, Phase.TOP, Phase.LOWER)

    assert truth.magnitude_n[moving].std() == pytest.approx(3.0, rel=0.05)
    assert np.rad2deg(truth.azimuth_rad[moving]).std() == pytest.approx(2.0, rel=0.05)
    assert np.rad2deg(truth.superior_angle_rad[moving]).std() == pytest.approx(2.0, rel=0.05)


def test_force_comes_and_goes_without_a_jump() -> None:
    """At 1 kHz no step is larger than a fast approach and a strong tremble can make."""
    rig = VirtualRig(default_rig(), _mixed(), seed=3, repetitions=2, model=SensorModel())
    truth = rig.truth(np.arange(0.0, rig.duration_s, 1e-3))
    steps = np.linalg.norm(np.diff(truth.force_n, axis=0), axis=1)

    assert truth.magnitude_n.max() > 40.0
    assert steps.max() < 0.5


def _mixed() -> Trainee:
    from acquisition.virtual_rig import trainee

    return trainee("T08")


def test_the_push_goes_through_the_centre_of_the_head_unless_the_hand_slips(
    machine: Machine,
) -> None:
    faithful = truth_of(machine("E01", superior_drift_deg_per_10deg=0.0))
    slipping = truth_of(machine("T11", contact_slip_deg_per_10deg=1.8))
    on = faithful.contact
    towards_centre = -faithful.force_n[on] / faithful.magnitude_n[on][:, np.newaxis]
    climbed = np.rad2deg(np.arcsin(slipping.on_head[:, 1]))

    assert faithful.on_head[on] == pytest.approx(towards_centre)
    assert np.nanmax(climbed) - np.nanmin(climbed) == pytest.approx(0.18 * 150.0, abs=0.1)


def test_phases_come_in_order_in_every_repetition(machine: Machine) -> None:
    truth = truth_of(machine("E01"), repetitions=2)
    run = [Phase(truth.phase[0])]
    run += [Phase(after) for before, after in pairwise(truth.phase) if before != after]
    once = [Phase.SETUP, Phase.RAISE, Phase.TOP, Phase.LOWER, Phase.RELEASE, Phase.REST]

    assert run == [Phase.REST, *once, *once]
