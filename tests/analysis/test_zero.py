"""The zero is that of the untouched cell, whatever hands do around it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.recording.model import Event
from analysis.errors import NotAnalysable
from analysis.settings import AnalysisSettings
from analysis.zero import find_zero, marked_windows

Floats = NDArray[np.float64]
DEFAULTS = AnalysisSettings()
FS_HZ = 200.0
OFFSET_N = np.array([1.5, -2.2, 0.7])
LOAD_N = np.array([0.0, 2.0, 0.0])


def noise(seconds: float, sd_n: float, seed: int) -> Floats:
    """Low-passed noise, as the filter leaves it."""
    size = int(seconds * FS_HZ)
    white = np.random.default_rng(seed).standard_normal((size + 20, 3))
    smooth = np.stack([np.convolve(one, np.ones(21) / np.sqrt(21), "valid") for one in white.T])
    return np.asarray(sd_n * smooth.T, dtype=np.float64)


def untouched(seconds: float, seed: int = 0) -> Floats:
    return np.asarray(OFFSET_N + noise(seconds, 0.01, seed))


def touched(seconds: float, force_n: tuple[float, float, float], tremble_n: float) -> Floats:
    return np.asarray(OFFSET_N + np.array(force_n) + noise(seconds, tremble_n, 1))


def found(*parts: Floats, at_home: bool = True, marked: tuple[slice, ...] = ()) -> Floats:
    wrench = np.concatenate(parts)
    home = np.full(len(wrench), at_home)
    return find_zero(wrench, home, FS_HZ, DEFAULTS, marked=marked).wrench


def test_an_untouched_cell_gives_its_offset_and_its_noise() -> None:
    wrench = untouched(4.0)

    zero = find_zero(wrench, np.ones(len(wrench), dtype=np.bool_), FS_HZ, DEFAULTS)

    assert zero.wrench == pytest.approx(OFFSET_N, abs=0.005)
    assert zero.noise_n == pytest.approx(0.01, rel=0.3)
    assert zero.scatter_n < 0.01
    assert zero.seconds == pytest.approx(4.0)
    assert zero.source == "quiet rests at home"


def test_a_hand_that_trembles_a_little_is_not_taken_for_nothing() -> None:
    """Most of the rest has a light hand on it, quiet enough for the absolute limit."""
    assert found(untouched(1.5), touched(20.0, (-6.0, 1.0, 2.0), 0.08)) == pytest.approx(
        OFFSET_N, abs=0.01
    )


def test_a_hand_that_lies_still_is_outvoted_or_heavier() -> None:
    """Steady as a weight, as often as nothing: the lighter level is the zero."""
    lying = touched(2.0, (4.0, -5.0, 3.0), 0.01)

    assert found(lying, untouched(2.0)) == pytest.approx(OFFSET_N, abs=0.01)


def test_a_rare_level_near_nothing_is_not_the_zero() -> None:
    """A passing push that happens to cancel the offset for half a second."""
    cancelled = touched(0.5, (-1.4, 2.1, -0.6), 0.01)

    assert found(untouched(8.0), cancelled) == pytest.approx(OFFSET_N, abs=0.01)


def test_levels_apart_from_the_zero_are_reported() -> None:
    wrench = np.concatenate([untouched(6.0), touched(1.0, (0.0, 3.0, 0.0), 0.01)])

    zero = find_zero(wrench, np.ones(len(wrench), dtype=np.bool_), FS_HZ, DEFAULTS)

    assert zero.apart_n == pytest.approx(3.0, abs=0.05)


@pytest.mark.parametrize(("level_n", "moved_n"), [(2.0, 2.0), (8.0, 0.05)])
def test_a_level_that_could_be_a_hand_is_no_zero_that_moved(level_n: float, moved_n: float) -> None:
    """From where contact would end on, it is a hand that lies on without trembling."""
    wrench = np.concatenate([untouched(6.0), touched(1.0, (0.0, level_n, 0.0), 0.01)])

    zero = find_zero(wrench, np.ones(len(wrench), dtype=np.bool_), FS_HZ, DEFAULTS)

    assert zero.apart_n == pytest.approx(level_n, abs=0.05)
    assert zero.moved_n == pytest.approx(moved_n, abs=0.05)


def test_a_slow_drift_shows_as_scatter() -> None:
    drift = np.linspace(-0.3, 0.3, int(60 * FS_HZ))[:, np.newaxis] * np.array([1.0, 0.0, 0.0])
    wrench = untouched(60.0) + drift

    zero = find_zero(wrench, np.ones(len(wrench), dtype=np.bool_), FS_HZ, DEFAULTS)

    assert zero.wrench == pytest.approx(OFFSET_N, abs=0.02)
    assert zero.scatter_n == pytest.approx(0.6 / np.sqrt(12.0), rel=0.1)


def test_only_home_counts() -> None:
    wrench = np.concatenate([untouched(2.0), untouched(2.0) + 9.0])
    home = np.arange(len(wrench)) < len(wrench) // 2

    zero = find_zero(wrench, home, FS_HZ, DEFAULTS)

    assert zero.wrench == pytest.approx(OFFSET_N, abs=0.01)


def test_gaps_do_not_make_a_window() -> None:
    wrench = untouched(2.0)
    wrench[100:130] = np.nan

    assert found(wrench) == pytest.approx(OFFSET_N, abs=0.01)


def test_moments_have_a_zero_too() -> None:
    wrench = np.hstack([untouched(3.0), 0.1 + noise(3.0, 0.001, 4)])

    zero = find_zero(wrench, np.ones(len(wrench), dtype=np.bool_), FS_HZ, DEFAULTS)

    assert zero.wrench == pytest.approx([*OFFSET_N, 0.1, 0.1, 0.1], abs=0.01)


def test_a_cell_that_is_never_quiet_has_no_zero() -> None:
    with pytest.raises(NotAnalysable, match="never quiet"):
        found(touched(10.0, (-20.0, 0.0, 5.0), 0.5))


def test_without_a_rest_there_is_no_zero() -> None:
    with pytest.raises(NotAnalysable, match="hands off"):
        found(untouched(5.0), at_home=False)


def test_a_zero_event_wins() -> None:
    """Someone says the hand was off, although the rest of the trial suggests another level."""
    wrench = np.concatenate([untouched(1.0) + LOAD_N, untouched(10.0)])
    zero = find_zero(
        wrench,
        np.ones(len(wrench), dtype=np.bool_),
        FS_HZ,
        DEFAULTS,
        marked=(slice(0, int(FS_HZ)),),
    )

    assert zero.wrench == pytest.approx(OFFSET_N + LOAD_N, abs=0.01)
    assert zero.source == "zero event, hands off"
    assert not zero.event_refused


def test_a_zero_event_with_a_trembling_hand_is_not_believed() -> None:
    wrench = np.concatenate([touched(1.0, (-20.0, 0.0, 5.0), 0.5), untouched(4.0)])
    zero = find_zero(
        wrench,
        np.ones(len(wrench), dtype=np.bool_),
        FS_HZ,
        DEFAULTS,
        marked=(slice(0, int(FS_HZ)),),
    )

    assert zero.wrench == pytest.approx(OFFSET_N, abs=0.01)
    assert zero.event_refused


def test_a_zero_event_marks_the_second_before_it() -> None:
    events = (
        Event(0, 7_000_000, "zero", ""),
        Event(0, 7_500_000, "mark", ""),
        Event(0, 0, "zero", "before the rig was heard"),
        Event(0, 99_000_000, "zero", "after the end"),
    )

    windows = marked_windows(events, origin_us=5_000_000.0, fs_hz=FS_HZ, count=2000)

    assert windows == (slice(200, 400),)
