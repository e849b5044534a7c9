"""When something happened, by the host's clock, while the rig still streams."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from acquisition.clock_fit import SyncExchange
from acquisition.live_clock import LiveClock
from firmware_protocol.messages import StreamSpec

BOOT_NS = 7_000_000_000
PPM = 200e-6


def host_ns(device_us: float) -> float:
    """The truth: the rig was switched on at `BOOT_NS` and gains."""
    return BOOT_NS + device_us * 1e3 / (1.0 + PPM)


def exchange(device_us: float, *, there_s: float = 0.0005, back_s: float = 0.0005) -> SyncExchange:
    asked, answered = host_ns(device_us) - there_s * 1e9, host_ns(device_us) + back_s * 1e9
    return SyncExchange(round(asked), round(device_us), round(device_us), round(answered))


def test_nothing_is_known_before_two_answers(make_block: Any, force_spec: StreamSpec) -> None:
    clock = LiveClock()
    with pytest.raises(ValueError, match="no block"):
        clock.host_times_ns(np.zeros(1))
    clock.hear_block(make_block(force_spec, 0))
    clock.hear(exchange(1e6))
    assert not clock.known

    clock.hear(exchange(2e6))

    assert clock.known
    assert clock.answers == 2


def test_one_slow_way_does_not_matter_at_first() -> None:
    """A rate from two answers a second apart would carry a delay of 40 ms on and on."""
    clock = LiveClock()
    clock.hear(exchange(1e6, back_s=0.040))
    clock.hear(exchange(2e6))

    told = clock.host_times_ns(np.array([3.0e6]))

    assert told == pytest.approx(host_ns(3.0e6), abs=0.5e6)  # 200 ppm in a second and a bit


def test_over_minutes_the_rate_is_found() -> None:
    clock, chance = LiveClock(), np.random.default_rng(1)
    for second in range(1, 90):
        clock.hear(exchange(second * 1e6, back_s=0.0005 + chance.exponential(0.002)))

    told = clock.host_times_ns(np.array([100e6]))

    assert told == pytest.approx(host_ns(100e6), abs=1e6)


def test_without_answers_the_least_delayed_block_tells(
    make_block: Any, force_spec: StreamSpec
) -> None:
    clock, delays_ms = LiveClock(), [30, 12, 55, 40, 18] * 40
    for place, delay_ms in enumerate(delays_ms):
        last_us = (place * 20 + 19) * 1000
        came = BOOT_NS + last_us * 1000 + delay_ms * 1_000_000
        assert clock.known == (last_us - 19_000 - 20_000 + 19_000 >= 3_000_000)
        clock.hear_block(make_block(force_spec, place * 20, arrival_ns=came))

    assert clock.known
    assert clock.answers == 0
    assert clock.host_times_ns(np.array([1e6])) == pytest.approx(BOOT_NS + 1e9 + 12e6)
