from __future__ import annotations

from datetime import UTC, datetime

import pytest

from acquisition.clock import ManualClock, SystemClock


def test_a_manual_clock_goes_only_when_told_to() -> None:
    clock = ManualClock(datetime(2026, 5, 1, tzinfo=UTC))
    before = clock.now_ns()

    clock.sleep(1.5)
    clock.advance(0.25)

    assert clock.now_ns() - before == 1_750_000_000
    assert clock.utc_now().isoformat() == "2026-05-01T00:00:01.750000+00:00"
    with pytest.raises(ValueError, match="does not go back"):
        clock.advance(-1.0)


def test_the_machine_s_clock_goes_forward() -> None:
    clock = SystemClock()

    first = clock.now_ns()
    clock.sleep(0.0)
    second = clock.now_ns()

    assert second >= first
    assert clock.utc_now().tzinfo is UTC
