"""What the low-pass does over frequency."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.filter_response import frequency_response
from analysis.filters import LiveLowPass, LowPass, live_delay_s, smooth

FS_HZ = 1000.0
SPEC = LowPass(cutoff_hz=10.0)


def test_both_forms_have_minus_3_db_at_the_cut_off() -> None:
    # Definition of a Butterworth filter's cut-off; common practice for two passes after Winter.
    found = frequency_response(SPEC, fs_hz=FS_HZ, hz=np.array([10.0]))

    assert found.offline_gain == pytest.approx(1 / np.sqrt(2))
    assert found.live_gain == pytest.approx(1 / np.sqrt(2))


@pytest.mark.parametrize(
    ("order", "gains"),
    [
        (2, (0.9701425001, 0.8422714007, 0.7071067812, 0.2425356250)),
        (4, (0.9980525785, 0.9253817736, 0.7071067812, 0.0623782862)),
    ],
)
def test_the_live_gain_is_butterworths(order: int, gains: tuple[float, ...]) -> None:
    # 1/√(1 + (f/fc)^2n) at f/fc = 0.5, 0.8, 1, 2 (Butterworth 1930); far below half the rate.
    spec = LowPass(cutoff_hz=1.0, order=order)

    found = frequency_response(spec, fs_hz=FS_HZ, hz=np.array([0.5, 0.8, 1.0, 2.0]))

    assert found.live_gain == pytest.approx(gains, rel=1e-4)


def test_the_delay_of_slow_changes_is_the_one_that_is_stated() -> None:
    found = frequency_response(SPEC, fs_hz=FS_HZ)

    assert found.live_delay_s[0] == pytest.approx(live_delay_s(SPEC), rel=0.01)


@pytest.mark.parametrize("hz", [2.0, 10.0, 25.0])
def test_a_sine_comes_out_as_the_response_says(hz: float) -> None:
    time_s = np.arange(0.0, 8.0, 1.0 / FS_HZ)
    sine = np.sin(2 * np.pi * hz * time_s)[:, np.newaxis]
    said = frequency_response(SPEC, fs_hz=FS_HZ, hz=np.array([hz]))
    late = said.live_gain * np.sin(2 * np.pi * hz * (time_s - said.live_delay_s))

    middle = slice(2000, 6000)
    offline, live = smooth(sine, SPEC, fs_hz=FS_HZ), LiveLowPass(SPEC, fs_hz=FS_HZ)(sine)

    assert offline[middle, 0] == pytest.approx(said.offline_gain * sine[middle, 0], abs=1e-6)
    assert live[middle, 0] == pytest.approx(late[middle], abs=1e-6)
