from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from acquisition.virtual_rig import TRAINEES, Trainee, trainee
from acquisition.virtual_rig.script import REST_S, Script


def script(person: Trainee, *, seed: int = 7, repetitions: int | None = 3) -> Script:
    return Script(person, seed=seed, repetitions=repetitions, top_deg=150.0)


@pytest.mark.parametrize("code", sorted(TRAINEES))
def test_hands_are_off_for_two_seconds_and_more_before_between_and_after(code: str) -> None:
    plan = script(trainee(code))
    repetitions = plan.plans_until(plan.duration_s)
    ends = [0.0, *(max(rep.home_s, rep.release_end_s) for rep in repetitions)]
    begins = [*(min(rep.touch_s, rep.raise_start_s) for rep in repetitions), plan.duration_s]

    assert len(repetitions) == 3
    assert all(begin - end >= 2.0 for begin, end in zip(begins, ends, strict=True))


@pytest.mark.parametrize("code", sorted(TRAINEES))
def test_a_repetition_goes_through_its_moments_in_order(code: str) -> None:
    for rep in script(trainee(code)).plans_until(1000.0):
        arm = [rep.raise_start_s, rep.top_start_s, rep.lower_start_s, rep.home_s, rep.slot_end_s]
        hand = [rep.touch_s, rep.full_force_s, rep.release_start_s, rep.release_end_s]

        assert arm == sorted(arm)
        assert hand == sorted(hand)
        assert rep.slot_start_s < rep.touch_s < rep.release_end_s <= rep.slot_end_s


def test_no_two_repetitions_and_no_two_seeds_are_alike() -> None:
    tops = [
        rep.top_rad for seed in (1, 2) for rep in script(trainee("E01"), seed=seed).plans_until(1e3)
    ]

    assert len(set(tops)) == 6


def test_a_script_looked_at_late_is_the_same_script() -> None:
    endless, counted = script(trainee("T08"), repetitions=None), script(trainee("T08"))
    endless.plans_until(500.0)

    assert counted.plans_until(1e4) == endless.plans_until(1e4)[:3]
    assert math.isinf(endless.duration_s)


def test_a_trial_without_repetitions_is_a_rest() -> None:
    rest = script(trainee("E01"), repetitions=0)

    assert rest.duration_s == REST_S
    assert rest.plans_until(100.0) == ()


def test_a_learner_comes_nearer_to_the_model(machine: Callable[..., Trainee]) -> None:
    learner = trainee("T09")
    plans = script(learner, repetitions=40).plans_until(1e5)
    goal = trainee("E01").hand.azimuth_deg
    off = np.array([abs(rep.hand.azimuth_deg - goal) for rep in plans])

    assert off[:3].mean() > 10.0
    assert off[20:].mean() < 1.5  # what is left is the spread between repetitions


def test_an_early_release_begins_at_the_elevation_asked_for(
    machine: Callable[..., Trainee],
) -> None:
    rep = script(machine("T03", release_elevation_deg=75.0)).plans_until(1.0)[0]

    # Half of the way down is half of the time of a symmetric movement.
    assert rep.release_start_s == pytest.approx((rep.lower_start_s + rep.home_s) / 2, abs=1e-9)
