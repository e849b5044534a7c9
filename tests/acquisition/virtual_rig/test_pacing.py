from __future__ import annotations

import math

import pytest

from acquisition.clock import ManualClock
from acquisition.virtual_rig.pacing import STEP_US, Pacer


def test_time_goes_with_the_clock_times_the_speed() -> None:
    clock = ManualClock()
    pacer = Pacer(clock, 2.0)
    pacer.resume()
    clock.advance(1.5)

    assert pacer.elapsed_us() == 3_000_000
    assert pacer.real_s(3.0) == 1.5


def test_time_stands_still_before_and_between() -> None:
    clock = ManualClock()
    pacer = Pacer(clock, 1.0)
    clock.advance(5.0)
    before = pacer.elapsed_us()
    pacer.resume()
    clock.advance(1.0)
    pacer.pause()
    clock.advance(100.0)
    pacer.resume()
    clock.advance(0.25)

    assert before == 0
    assert pacer.elapsed_us() == pytest.approx(1_250_000, abs=1)


def test_as_fast_as_can_be_time_goes_by_being_asked_for() -> None:
    pacer = Pacer(ManualClock(), math.inf)
    pacer.resume()

    assert [pacer.elapsed_us() for _ in range(3)] == [STEP_US, 2 * STEP_US, 3 * STEP_US]
    assert pacer.real_s(10.0) == 0.0
