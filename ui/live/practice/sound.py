"""The tones played: off until it is asked for, and quiet where there is nothing to play them on.

The library's own thread asks for sound a few milliseconds ahead; what is wrong is handed to it as
one frozen value. How late the tones are is chosen, not left to the device.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Generator, Iterator
from typing import Any, Protocol

import numpy as np

from analysis.said import said
from analysis.target import Target
from ui.live.moment import Moment
from ui.live.practice.tones import RATE_HZ, SILENCE, Faults, Synthesiser
from ui.live.push import UPWARD_KNOWN, PushState

PERIOD_MS, PERIODS = 20, 2
LATENCY_MS = PERIOD_MS * PERIODS
"""What lies ready in the device: the tones are late by so much. Shorter stutters under load."""
UPWARD_FULL_DEG = 10.0
"""So far above the limit the upward note is at its loudest."""

Stream = Generator[bytes, int, None]


class Player(Protocol):
    """A device that is open."""

    def start(self, stream: Stream) -> None:
        """Play what a started generator gives, asked for so many frames at a time."""
        ...

    def close(self) -> None:
        """Stop and let go."""
        ...


class Sound:
    """Plays what is wrong.

    Args:
        open_player: Opens a device; raises whatever it likes if there is none.
    """

    def __init__(self, open_player: Callable[[], Player] | None = None) -> None:
        self._open = open_player or open_device
        self._player: Player | None = None
        self._faults = SILENCE

    @property
    def on(self) -> bool:
        """Whether it plays."""
        return self._player is not None

    def turn_on(self) -> str:
        """Begin to play.

        Returns:
            Why there is no sound, in one line; empty if there is.
        """
        if self._player is not None:
            return ""
        try:
            player = self._open()
        except ImportError:
            return "no sound: install perpend[sound]"
        except Exception as error:  # noqa: BLE001 - a library's own errors: practice goes on
            return f"no sound: {type(error).__name__}: no device can be played on"
        stream = self._stream()
        next(stream)
        player.start(stream)
        self._player = player
        return ""

    def turn_off(self) -> None:
        """Play no more; twice is fine."""
        player, self._player = self._player, None
        self._faults = SILENCE
        if player is not None:
            player.close()

    def hear(self, faults: Faults) -> None:
        """Let this be heard from now on; from any thread."""
        self._faults = faults

    def follow(self, moment: Moment) -> None:
        """Let it be heard what is wrong at a moment."""
        self.hear(faults_of(moment))

    def _stream(self) -> Stream:
        voices = Synthesiser(RATE_HZ)
        count = yield b""
        while True:
            count = yield voices.block(count, self._faults).tobytes()


def switched(sound: Sound) -> tuple[str, bool]:
    """Turn a sound on, or off if it is on; return what became of it, and whether that is well."""
    if sound.on:
        sound.turn_off()
        return "sound off", True
    why_not = sound.turn_on()
    return (why_not, False) if why_not else (said("sound on, {} ms late", LATENCY_MS), True)


def faults_of(moment: Moment) -> Faults:
    """Return what is to be heard of a moment: nothing the practice hides, nothing unknown."""
    if moment.drill is not None and moment.drill.call:
        return Faults(call=1.0)
    if moment.practice is not None and not moment.practice.feedback_visible:
        return SILENCE
    if moment.state is PushState.SATURATED:
        return Faults(heavy=1.0)
    target, push = moment.target, moment.push
    if moment.state not in (*UPWARD_KNOWN, PushState.TOO_LIGHT):
        return SILENCE
    off_deg = float(np.hypot(*push.map_deg))
    return Faults(
        upward=_share(push.superior_deg - target.superior_limit_deg, UPWARD_FULL_DEG),
        cone=_share(off_deg - target.cone_deg, target.cone_deg),
        light=_light(push.magnitude_n, target),
        heavy=_share(push.magnitude_n - target.force_band.high_n, target.force_band.high_n / 2.0),
    )


def open_device() -> Player:
    """Open the machine's usual device.

    Raises:
        ImportError: The library is not installed.
        Exception: There is no device, in the library's words.
    """
    import miniaudio

    with _quiet():
        device: Any = miniaudio.PlaybackDevice(
            output_format=miniaudio.SampleFormat.FLOAT32,
            nchannels=1,
            sample_rate=RATE_HZ,
            buffersize_msec=PERIOD_MS,
            callback_periods=PERIODS,
            app_name="perpend",
        )
    player: Player = device
    return player


def _light(magnitude_n: float, target: Target) -> float:
    low_n = target.force_band.low_n
    return _share(low_n - magnitude_n, low_n) if low_n > 0.0 else 0.0


def _share(excess: float, full: float) -> float:
    """Return how much of *full* an excess is, 0 to 1; nothing if it is not known."""
    return float(np.clip(excess / full, 0.0, 1.0)) if excess > 0.0 else 0.0


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep a C library from telling the terminal about each device it did not find."""
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
