"""The rig's clock on the host's, through jitter, drift, a wrap and bursts of delay."""

from __future__ import annotations

import numpy as np
import pytest

from acquisition.clock_fit import SyncExchange, fit_clock


def exchanges(
    *,
    drift_ppm: float,
    start_us: int = 1_000_000,
    count: int = 120,
    bursts: bool = False,
    seed: int = 1,
) -> tuple[list[SyncExchange], np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Ask once a second; the way takes 0.3 ms and a one-sided, heavy-tailed jitter each way.

    Returns:
        The exchanges, and the rig's true times of the first and last in host nanoseconds.
    """
    dice = np.random.default_rng(seed)
    made = []
    for number in range(count):
        asked_s = float(number)
        there, back = 0.0003 + dice.exponential(0.001, 2)
        if bursts and 40 <= number < 60:
            back += 0.05  # an adapter that saves its bytes up
        read_s = asked_s + there
        device_us = start_us + read_s * 1e6 * (1.0 + drift_ppm * 1e-6)
        made.append(
            SyncExchange(
                round(asked_s * 1e9),
                round(device_us),
                round(device_us + 20),
                round((read_s + 20e-6 + back) * 1e9),
            )
        )
    return made, np.array([0.0, (count - 1) * 1e9])


@pytest.mark.parametrize("drift_ppm", [-100.0, 0.0, 100.0])
@pytest.mark.parametrize("bursts", [False, True])
def test_drift_and_offset_are_found_to_half_a_millisecond(drift_ppm: float, bursts: bool) -> None:
    made, truth_ns = exchanges(drift_ppm=drift_ppm, bursts=bursts)

    fit = fit_clock(made)

    device_us = 1_000_000 + truth_ns * 1e-3 * (1.0 + drift_ppm * 1e-6)
    assert np.abs(fit.host_times_ns(device_us) - truth_ns).max() < 0.5e6
    assert fit.drift_ppm == pytest.approx(-drift_ppm, abs=5.0)
    assert fit.residual_s < 0.5e-3
    assert fit.used >= 10


def test_it_holds_past_the_wrap_of_a_32_bit_tick() -> None:
    """The wire's clock has 64 bits; the numbers around 2**32 are nothing special to the fit."""
    made, _ = exchanges(drift_ppm=30.0, start_us=2**32 - 30_000_000)

    fit = fit_clock(made)

    assert fit.drift_ppm == pytest.approx(-30.0, abs=5.0)


def test_the_middle_is_wrong_by_no_more_than_it_says() -> None:
    made, truth_ns = exchanges(drift_ppm=0.0, seed=5)

    fit = fit_clock(made)

    error_s = np.abs(fit.host_times_ns(1_000_000 + truth_ns * 1e-3) - truth_ns).max() * 1e-9
    assert error_s < fit.bound_s + 3 * fit.residual_s


def test_one_exchange_makes_no_line() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        fit_clock(exchanges(drift_ppm=0.0, count=1)[0])
