"""Filters against closed forms and published constants."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from analysis.filters import (
    LiveLowPass,
    LowPass,
    design,
    dual_pass_factor,
    live_delay_s,
    slope_of_part,
    slope_runs,
    smooth,
    smooth_runs,
    without_spikes,
)

Floats = NDArray[np.float64]
SPEC = LowPass(cutoff_hz=10.0)


def gain_at(sections: Floats, hz: float, *, fs_hz: float) -> float:
    _, response = signal.sosfreqz(sections, worN=[hz], fs=fs_hz)
    return float(np.abs(response[0]))


@pytest.mark.parametrize(
    ("order", "factor"), [(1, 0.6435942529), (2, 0.8022432629), (4, 0.8956803352)]
)
def test_the_dual_pass_factor_is_the_published_one(order: int, factor: float) -> None:
    """Winter, Biomechanics and Motor Control of Human Movement: 0.802 for the second order."""
    assert dual_pass_factor(order) == pytest.approx(factor, abs=1e-10)


def test_the_design_equals_winters_coefficients() -> None:
    """Winter's equations for 6 Hz at 100 Hz, recomputed: with prewarping, not fc/0.802."""
    b0, b1, b2, _, a1, a2 = design(LowPass(cutoff_hz=6.0), fs_hz=100.0, passes=2)[0]

    assert [b0, b1, b2] == pytest.approx([0.0405946814, 0.0811893629, 0.0405946814], abs=1e-9)
    assert [-a1, -a2] == pytest.approx([1.3547488152, -0.5171275410], abs=1e-9)


@pytest.mark.parametrize("order", [1, 2, 4])
@pytest.mark.parametrize(("cutoff_hz", "fs_hz"), [(6.0, 100.0), (10.0, 1000.0), (10.0, 80.0)])
def test_both_passes_together_are_3_db_down_at_the_stated_cutoff(
    order: int, cutoff_hz: float, fs_hz: float
) -> None:
    sections = design(LowPass(cutoff_hz=cutoff_hz, order=order), fs_hz=fs_hz, passes=2)

    assert gain_at(sections, cutoff_hz, fs_hz=fs_hz) ** 2 == pytest.approx(np.sqrt(0.5), abs=1e-9)
    assert gain_at(sections, 0.0, fs_hz=fs_hz) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("order", "ratio", "gain"),
    [
        (2, 0.5, 0.9701425001),
        (2, 2.0, 0.2425356250),
        (4, 0.5, 0.9980525785),
        (4, 2.0, 0.0623782862),
    ],
)
def test_the_live_form_is_a_butterworth(order: int, ratio: float, gain: float) -> None:
    """|H| = [1 + (f/fc)^2n]^-1/2 for the prototype; far below the sampling rate they agree."""
    sections = design(LowPass(cutoff_hz=1.0, order=order), fs_hz=1000.0, passes=1)

    assert gain_at(sections, ratio, fs_hz=1000.0) == pytest.approx(gain, rel=1e-3)


def test_the_live_form_has_the_handbooks_coefficients() -> None:
    """Second order at a tenth of the rate: the textbook bilinear design, recomputed."""
    b0, b1, b2, _, a1, a2 = design(LowPass(cutoff_hz=10.0), fs_hz=100.0, passes=1)[0]

    assert [b0, b1, b2] == pytest.approx([0.06745527, 0.13491055, 0.06745527], abs=1e-8)
    assert [a1, a2] == pytest.approx([-1.1429805, 0.4128016], abs=1e-7)


@pytest.mark.parametrize(("hz", "gain"), [(5.0, 0.9984098980), (20.0, 0.0399680383)])
def test_the_live_form_of_fourth_order_follows_the_warped_closed_form(
    hz: float, gain: float
) -> None:
    """|H| = [1 + (tan(πf/fs)/tan(πfc/fs))⁸]^-1/2, fc/fs = 0.1; recomputed."""
    sections = design(LowPass(cutoff_hz=10.0, order=4), fs_hz=100.0, passes=1)

    assert gain_at(sections, hz, fs_hz=100.0) == pytest.approx(gain, abs=1e-9)


def test_a_sine_at_the_cutoff_comes_out_at_3_db_and_not_late() -> None:
    fs_hz = 500.0
    time_s = np.arange(0.0, 20.0, 1 / fs_hz)
    wave = np.sin(2 * np.pi * 10.0 * time_s)[:, np.newaxis]

    inner = slice(2000, 8000)
    smoothed = smooth(wave, SPEC, fs_hz=fs_hz)

    assert smoothed[inner] == pytest.approx(np.sqrt(0.5) * wave[inner], abs=1e-4)


@pytest.mark.parametrize("length", [1, 2, 3, 7, 50])
def test_a_resting_signal_passes_whole_also_in_short_pieces(length: int) -> None:
    load = np.full((length, 2), [50.0, -3.0])

    assert smooth(load, SPEC, fs_hz=1000.0) == pytest.approx(load)
    assert LiveLowPass(SPEC, fs_hz=1000.0)(load) == pytest.approx(load)


def test_noise_falls_by_the_bandwidth_of_two_passes() -> None:
    """Noise bandwidth of a twice-passed second order: 0.8330406 times its corrected cut-off."""
    fs_hz = 1000.0
    noise = np.random.default_rng(2).standard_normal((400_000, 1))

    left = smooth(noise, SPEC, fs_hz=fs_hz).std()

    one_pass_hz = 10.0 / dual_pass_factor(2)
    assert left == pytest.approx(np.sqrt(2 * 0.8330406 * one_pass_hz / fs_hz), rel=0.03)


@settings(max_examples=40, deadline=None)
@given(cuts=st.lists(st.integers(0, 600), max_size=12), seed=st.integers(0, 100))
def test_cutting_the_live_signal_anywhere_changes_nothing(cuts: list[int], seed: int) -> None:
    x = np.cumsum(np.random.default_rng(seed).standard_normal((600, 3)), axis=0)
    whole = LiveLowPass(SPEC, fs_hz=500.0)(x)

    low_pass = LiveLowPass(SPEC, fs_hz=500.0)
    pieces = [low_pass(piece) for piece in np.split(x, sorted(cuts))]

    np.testing.assert_array_equal(np.concatenate(pieces), whole)


def test_the_live_form_lags_a_ramp_by_its_stated_delay() -> None:
    """Group delay at 0 Hz: √2 / (2π·fc) for the second order, 22.5 ms at 10 Hz."""
    fs_hz = 1000.0
    ramp = 5.0 * np.arange(0.0, 3.0, 1 / fs_hz)[:, np.newaxis]

    lag_s = (ramp - LiveLowPass(SPEC, fs_hz=fs_hz)(ramp))[-1, 0] / 5.0

    assert live_delay_s(SPEC) == pytest.approx(np.sqrt(2.0) / (2 * np.pi * 10.0))
    assert lag_s == pytest.approx(live_delay_s(SPEC), abs=1e-3)


def test_stretches_between_gaps_know_nothing_of_each_other() -> None:
    x = np.random.default_rng(4).standard_normal((900, 2))
    known = np.ones(900, dtype=np.bool_)
    known[300:350] = False
    changed = x.copy()
    changed[350:] += 100.0
    changed[~known] = np.nan

    before = smooth_runs(x, known, SPEC, fs_hz=500.0)
    after = smooth_runs(changed, known, SPEC, fs_hz=500.0)

    assert np.isnan(after[300:350]).all()
    np.testing.assert_array_equal(after[:300], before[:300])
    assert after[350:] == pytest.approx(before[350:] + 100.0)


def test_what_is_not_finite_is_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        smooth(np.array([[1.0], [np.nan]]), SPEC, fs_hz=100.0)


def test_a_cutoff_beyond_the_rate_is_refused() -> None:
    with pytest.raises(ValueError, match=r"10\.0 Hz does not fit a rate of 20\.0 Hz"):
        design(SPEC, fs_hz=20.0, passes=2)


@given(st.lists(st.booleans(), min_size=1, max_size=30), st.integers(0, 29), st.integers(1, 30))
def test_the_slopes_of_a_part_are_those_of_the_whole(
    flags: list[bool], start: int, size: int
) -> None:
    known = np.array(flags)
    x = np.random.default_rng(6).normal(size=(len(known), 2))
    part = slice(min(start, len(known) - 1), min(start + size, len(known)))

    some = slope_of_part(x, known, part, fs_hz=10.0)

    np.testing.assert_array_equal(some, slope_runs(x, known, fs_hz=10.0)[part])


def test_slopes_do_not_reach_across_gaps() -> None:
    ramp = 2.0 * np.arange(10.0)[:, np.newaxis]
    known = np.array([1, 1, 1, 0, 1, 0, 1, 1, 1, 1], dtype=np.bool_)

    slope = slope_runs(ramp, known, fs_hz=10.0)[:, 0]

    assert slope[known] == pytest.approx([20.0, 20.0, 20.0, 0.0, 20.0, 20.0, 20.0, 20.0])
    assert np.isnan(slope[~known]).all()


def noisy_counts(size: int = 5000, seed: int = 1) -> NDArray[np.int32]:
    rng = np.random.default_rng(seed)
    slow = 20_000 * np.sin(np.arange(size) / 400.0)
    return np.round(slow[:, np.newaxis] + rng.normal(0.0, 30.0, (size, 2))).astype(np.int32)


def test_single_spikes_are_found_and_replaced() -> None:
    clean = noisy_counts()
    dirty = clean.copy()
    where = np.array([10, 800, 2500, 4990])
    dirty[where, 1] += np.array([900, -5000, 1_000_000, 600], dtype=np.int32)

    cleaned, count = without_spikes(dirty, sds=8.0)

    assert count == 4
    assert np.abs(cleaned[where, 1] - clean[where, 1]).max() < 200
    untouched = np.ones(len(clean), dtype=np.bool_)
    untouched[where] = False
    np.testing.assert_array_equal(cleaned[untouched], dirty[untouched])


def test_ordinary_noise_has_no_spikes() -> None:
    _, count = without_spikes(noisy_counts(200_000), sds=8.0)

    assert count == 0


def test_a_tremble_sampled_slowly_is_no_spike() -> None:
    """8 Hz at 80 Hz beside a long quiet rest: every crest stands out from its neighbours."""
    size = 4000
    counts = np.random.default_rng(0).normal(0.0, 3.0, size)
    counts[3000:] += 400.0 * np.sin(2 * np.pi * 8.0 * np.arange(1000) / 80.0)

    _, count = without_spikes(np.round(counts[:, np.newaxis]).astype(np.int32), sds=8.0)

    assert count == 0


def test_a_step_and_a_pair_of_wrong_samples_stay() -> None:
    counts = noisy_counts()
    counts[2000:, 0] += 50_000
    counts[3000:3002, 1] += 50_000

    cleaned, count = without_spikes(counts, sds=8.0)

    assert count == 0
    np.testing.assert_array_equal(cleaned, counts)


@pytest.mark.parametrize("size", [0, 1, 4])
def test_too_few_samples_have_no_spikes(size: int) -> None:
    counts = noisy_counts(size)

    cleaned, count = without_spikes(counts, sds=8.0)

    assert count == 0
    np.testing.assert_array_equal(cleaned, counts)
