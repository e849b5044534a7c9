"""Quiet tones for three faults and a call, made of numbers alone: no device, no library.

Eyes belong on the arm, so what is wrong can be heard. Silence is right. Each fault has a voice of
its own, told apart by pitch and by rhythm, so that pitch need not be heard well:

upward slip    a high note that swells slowly, a little higher the more it slips
off the cone   a middle note in two short beats
force          a low note: beating slowly below the band, steady above it
call to stop   the highest note in quick beats

All notes are soft (few overtones, slow edges) and of one chord. Phase runs on from block to
block and loudness glides, so that nothing clicks.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]

RATE_HZ = 44_100
LEVEL = 0.12
"""Peak of one voice at its loudest; all together stay below half of full scale."""
GLIDE_S = 0.06
"""A loudness takes about so long to change: faster clicks, slower lags."""
OVERTONES = (1.0, 0.25, 0.08)
"""Strength of fundamental, octave and twelfth: soft, like a pipe."""

CALL_HZ, UPWARD_HZ, CONE_HZ, FORCE_HZ = 880.0, 659.26, 440.0, 220.0
"""a'', e'', a' and a: one chord."""
UPWARD_BEND = 0.06
"""The upward note rises by up to this share: about a semitone."""
SWELL_HZ, BEATS_HZ, PULSE_HZ, CALL_BEATS_HZ = 1.5, 4.0, 2.0, 6.0


@dataclass(frozen=True, slots=True)
class Faults:
    """How far the push is from right, each 0 (right) to 1 (as wrong as it is told).

    Attributes:
        upward: Superior angle above its limit.
        cone: Off-axis angle beyond the cone.
        light: Force below its band.
        heavy: Force above its band.
        call: A stop is called.
    """

    upward: float = 0.0
    cone: float = 0.0
    light: float = 0.0
    heavy: float = 0.0
    call: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            if not 0.0 <= getattr(self, field.name) <= 1.0:
                raise ValueError(f"{field.name} must lie between 0 and 1")


SILENCE = Faults()


class Synthesiser:
    """Makes sound block by block; while the faults stay the same, no cutting changes it.

    Args:
        rate_hz: Of the samples.
    """

    def __init__(self, rate_hz: int = RATE_HZ) -> None:
        self.rate_hz = rate_hz
        self._at = 0
        """Samples made so far."""
        self._phase = 0.0
        """Of the upward note, whose pitch changes."""
        self._bend = 0.0
        self._loud = np.zeros(len(fields(Faults)))

    @property
    def silent(self) -> bool:
        """Nothing is to be heard any more."""
        return bool((self._loud < 1e-4).all())

    def block(self, count: int, faults: Faults) -> Samples:
        """Return the next *count* samples, shape (count,), within ±0.5.

        Args:
            count: How many.
            faults: What is to be heard from now on.
        """
        time_s = (self._at + np.arange(count)) / self.rate_hz
        self._at += count
        wanted = np.array(astuple(faults))
        # Half as loud at the limit itself: what is only just wrong must be heard as well.
        loud = self._glide(np.where(wanted > 0.0, 0.5 + 0.5 * wanted, 0.0), count)
        upward, cone, light, heavy, call = loud.T
        sound = upward * _swell(SWELL_HZ, time_s) * self._upward(faults.upward, count)
        sound += cone * _two_beats(BEATS_HZ, time_s) * _voice(2.0 * np.pi * CONE_HZ * time_s)
        high = _voice(2.0 * np.pi * CALL_HZ * time_s)
        sound += call * _swell(CALL_BEATS_HZ, time_s) * high
        low = _voice(2.0 * np.pi * FORCE_HZ * time_s)
        # Never below and above the band at once, so that together they are one voice.
        sound += np.minimum(light * _swell(PULSE_HZ, time_s) + heavy, 1.0) * low
        return np.asarray(LEVEL * sound, dtype=np.float32)

    def _glide(self, wanted: Floats, count: int) -> Floats:
        """Return loudness, shape (count, voices), on its way to what is wanted."""
        left = np.exp(-np.arange(1, count + 1) / (GLIDE_S * self.rate_hz / 3.0))
        loud = wanted + (self._loud - wanted) * left[:, np.newaxis]
        if count:
            self._loud = loud[-1]
        return loud

    def _upward(self, amount: float, count: int) -> Floats:
        """Return the upward note; its pitch glides too."""
        left = np.exp(-np.arange(1, count + 1) / (GLIDE_S * self.rate_hz))
        bend = amount + (self._bend - amount) * left
        step = 2.0 * np.pi * UPWARD_HZ * (1.0 + UPWARD_BEND * bend) / self.rate_hz
        phase = self._phase + np.cumsum(step)
        if count:
            self._bend, self._phase = float(bend[-1]), float(phase[-1] % (2.0 * np.pi))
        return _voice(phase)


def _voice(phase: Floats) -> Floats:
    """Return a soft note, within ±1."""
    total = sum(OVERTONES)
    waves = (strength * np.sin(order * phase) for order, strength in enumerate(OVERTONES, start=1))
    return np.asarray(sum(waves) / total)


def _swell(hz: float, time_s: Floats) -> Floats:
    """Return a loudness that comes and goes, 0.3 to 1."""
    return np.asarray(0.65 - 0.35 * np.cos(2.0 * np.pi * hz * time_s))


def _two_beats(hz: float, time_s: Floats) -> Floats:
    """Return two soft beats and as long a rest, 0 to 1; the rhythm tells it from the others."""
    turn = time_s * hz % 4.0
    return np.where(turn < 2.0, np.sin(np.pi * (turn % 1.0)) ** 2, 0.0)
