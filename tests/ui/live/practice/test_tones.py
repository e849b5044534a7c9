"""What the tones are: their pitch, their loudness, and that nothing clicks."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from ui.live.practice.tones import (
    CALL_HZ,
    CONE_HZ,
    FORCE_HZ,
    LEVEL,
    RATE_HZ,
    SILENCE,
    UPWARD_BEND,
    UPWARD_HZ,
    Faults,
    Synthesiser,
)

Floats = NDArray[np.float32]
WORST = Faults(upward=1.0, cone=1.0, light=1.0, heavy=1.0, call=1.0)
share = st.floats(0.0, 1.0)


def played(faults: Faults, seconds: float = 2.0) -> Floats:
    """Return some seconds, after what came before has faded."""
    one = Synthesiser()
    one.block(RATE_HZ, faults)
    return one.block(round(seconds * RATE_HZ), faults)


def pitch_hz(sound: Floats) -> float:
    """Return the strongest frequency (discrete Fourier transform, Hann window)."""
    size = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    return float(np.argmax(size) * RATE_HZ / len(sound))


@pytest.mark.parametrize(
    ("faults", "hz"),
    [
        (Faults(upward=1.0), UPWARD_HZ * (1.0 + UPWARD_BEND)),
        (Faults(cone=1.0), CONE_HZ),
        (Faults(light=1.0), FORCE_HZ),
        (Faults(heavy=1.0), FORCE_HZ),
        (Faults(call=1.0), CALL_HZ),
    ],
)
def test_each_fault_has_its_pitch(faults: Faults, hz: float) -> None:
    assert pitch_hz(played(faults)) == pytest.approx(hz, abs=1.0)


def test_the_upward_note_rises_with_the_slip() -> None:
    pitches = [pitch_hz(played(Faults(upward=amount))) for amount in (0.1, 0.5, 1.0)]

    assert pitches == sorted(pitches)
    assert pitches[2] / pitches[0] > 1.03


def test_each_fault_has_its_rhythm() -> None:
    """So that they are told apart without hearing pitch: how the loudness comes and goes."""

    def beats_hz(faults: Faults) -> float:
        sound = played(faults, 4.0)[: 4 * RATE_HZ]
        loud = np.sqrt((sound.reshape(-1, RATE_HZ // 20) ** 2).mean(axis=1))
        size = np.abs(np.fft.rfft(loud - loud.mean()))
        return 0.0 if loud.std() < 0.02 * loud.mean() else float(np.argmax(size) / 4.0)

    found = [
        beats_hz(faults)
        for faults in (
            Faults(upward=1.0), Faults(cone=1.0), Faults(light=1.0), Faults(heavy=1.0),
        )
    ]  # fmt: skip

    assert found[0] == pytest.approx(1.5)
    assert found[1] == pytest.approx(1.0)
    assert found[2] == pytest.approx(2.0)
    assert found[3] == 0.0


def test_right_is_silent() -> None:
    one = Synthesiser()

    assert (one.block(RATE_HZ, SILENCE) == 0.0).all()
    assert one.silent


def test_a_tone_fades_when_its_fault_is_gone() -> None:
    one = Synthesiser()
    one.block(RATE_HZ, WORST)
    assert not one.silent

    one.block(RATE_HZ // 2, SILENCE)

    assert one.silent


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 3000), st.builds(Faults, share, share, share, share, share)),
        min_size=2,
        max_size=12,
    )
)
def test_nothing_clicks_and_nothing_is_loud_whatever_comes(
    pieces: list[tuple[int, Faults]],
) -> None:
    """A click is a step; the steepest these waves can be is bounded by their frequencies."""
    one = Synthesiser()
    sound = np.concatenate([one.block(count, faults) for count, faults in pieces])

    harmonics = (1.0 + 2.0 * 0.25 + 3.0 * 0.08) / 1.33
    steepest = (
        LEVEL
        * harmonics
        * 2.0
        * np.pi
        * (UPWARD_HZ * (1.0 + UPWARD_BEND) + CONE_HZ + FORCE_HZ + CALL_HZ)
        / RATE_HZ
    )
    glide = 4.0 * LEVEL * 3.0 / (0.06 * RATE_HZ)
    assert np.abs(np.diff(sound, prepend=np.float32(0.0))).max() <= 1.05 * (steepest + glide)
    assert np.abs(sound).max() <= 0.5


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, 4000), max_size=8))
def test_cutting_into_blocks_anywhere_changes_nothing(cuts: list[int]) -> None:
    edges = [0, *sorted(cuts), 4000]
    whole, cut = Synthesiser(), Synthesiser()

    pieces = [cut.block(high - low, WORST) for low, high in pairwise(edges)]

    assert np.concatenate(pieces) == pytest.approx(whole.block(4000, WORST), abs=1e-6)


def test_high_harmonics_are_weak_so_that_it_does_not_tire() -> None:
    """Less than a hundredth of the power lies above 2.7 kHz, the twelfth of the call."""
    sound = played(WORST)
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    high = np.fft.rfftfreq(len(sound), 1.0 / RATE_HZ) > 2700.0

    assert power[high].sum() < 0.01 * power.sum()


@pytest.mark.parametrize("make", [lambda: Faults(upward=1.5), lambda: Faults(cone=float("nan"))])
def test_more_than_wrong_there_is_not(make: Callable[[], Faults]) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        make()
