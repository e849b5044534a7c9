"""A rig's clock that does not run as this computer's is found, and how well it is known is told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from acquisition.clock_fit import SyncExchange
from acquisition.recording.model import Recording
from analysis.rig_clock import rig_clock
from analysis.trial import Severity

Maker = Callable[..., Any]
SECONDS = 8


def asked(
    recording: Recording, fast_ppm: float, *, delay_s: float = 0.002, seconds: int = SECONDS
) -> Recording:
    """Return a recording whose rig was asked for its time each second, with delays by chance."""
    dice = np.random.default_rng(3)
    exchanges = []
    for second in range(seconds):
        there, back = dice.uniform(0.0, delay_s, 2)
        device_us = round((second + there) * 1e6 * (1.0 + fast_ppm * 1e-6)) + 5_000_000
        answered_ns = round((second + there + back) * 1e9)
        exchanges.append(SyncExchange(second * 10**9, device_us, device_us, answered_ns))
    return replace(recording, syncs=tuple(exchanges))


@pytest.mark.parametrize(
    ("fast_ppm", "severity"),
    [
        (0.0, Severity.FINE),
        (100.0, Severity.FINE),
        (-100.0, Severity.FINE),
        (2_000.0, Severity.NOTE),
        (-2_000.0, Severity.NOTE),
        (10_000.0, Severity.WARNING),
        (-10_000.0, Severity.WARNING),
        (1_000_000.0, Severity.WARNING),
    ],
)
def test_the_clock_is_judged_by_the_answers(
    told: Maker, fast_ppm: float, severity: Severity
) -> None:
    found = rig_clock(asked(told(seed=7).recording, fast_ppm))

    middle, half = float(found.value.split()[0]), float(found.value.split()[2])
    assert found.severity is severity
    assert "by its answers" in found.value
    assert abs(middle - fast_ppm) <= half + 1.0
    assert half < 700.0 * (1.0 + fast_ppm * 1e-6) ** 2


def test_slow_answers_widen_what_is_told_and_blame_nobody(told: Maker) -> None:
    found = rig_clock(asked(told(seed=7).recording, 100.0, delay_s=0.2))

    assert found.severity is Severity.NOTE
    assert found.value.startswith("not known well enough")


@pytest.mark.parametrize(
    ("fast", "severity"),
    [(1.0, Severity.FINE), (0.5, Severity.WARNING), (2.0, Severity.WARNING)],
)
def test_a_rig_that_answers_nothing_is_judged_by_when_its_blocks_come(
    told: Maker, fast: float, severity: Severity
) -> None:
    recording = told(seed=7).recording
    streams = {
        name: replace(
            stream, arrival_ns=(stream.device_time_us * 1000 / fast).astype(np.int64) + 7_000_000
        )
        for name, stream in recording.streams.items()
    }

    found = rig_clock(replace(recording, streams=streams))

    assert found.severity is severity
    assert "by the arrival of its blocks" in found.value
    assert float(found.value.split()[0]) == pytest.approx((fast - 1.0) * 1e6, abs=2000.0 * fast)


def test_a_clock_that_jumps_is_uneven(told: Maker) -> None:
    recording = asked(told(seed=7).recording, 0.0)
    late = tuple(
        replace(one, received_us=one.received_us + 30_000, sent_us=one.sent_us + 30_000)
        if number == 4
        else one
        for number, one in enumerate(recording.syncs)
    )

    found = rig_clock(replace(recording, syncs=late))

    assert found.severity is Severity.NOTE
    assert found.value.startswith("uneven: ")


def test_of_nothing_nothing_is_told(told: Maker) -> None:
    found = rig_clock(replace(told(seed=7).recording, streams={}))

    assert (found.severity, found.value.split(":")[0]) == (Severity.NOTE, "not known")
