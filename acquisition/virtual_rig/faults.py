"""Things that go wrong on the way out of a rig, on purpose, seeded and by name.

``loss:0.001,restart:30`` loses one frame in a thousand and restarts the rig 30 s after the
start of the streams. A new one is a function and a line in `FAULTS`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from acquisition.virtual_rig.chance import Purpose, uniforms
from firmware_protocol.messages import NO_STREAM, FaultCode

Floats = NDArray[np.float64]


class FaultyRig(Protocol):
    """What a fault that comes at a time can do to a rig."""

    def restart(self) -> None:
        """Begin anew, as after a loss of power."""
        ...

    def report(self, code: FaultCode, stream_id: int, detail: str) -> None:
        """Send a fault message."""
        ...

    def hold_at_rail(self) -> None:
        """Keep the first force channel at its upper rail for a while."""
        ...

    def lose_imu(self) -> None:
        """Get no samples of the inertial unit for a while."""
        ...

    def lose_converter(self) -> None:
        """Get no sample of the load cell any more."""
        ...

    def overrun(self) -> None:
        """Drop what is due for a while."""
        ...

    def fall_silent(self) -> None:
        """Say and hear nothing more."""
        ...

    def pull_plug(self) -> None:
        """Lose the line."""
        ...


class Dice:
    """Seeded numbers between 0 and 1, one after the other."""

    def __init__(self, seed: int, who: str) -> None:
        self._seed, self._who = seed, who
        self._row = 0

    def __call__(self, count: int) -> Floats:
        """Return the next *count* numbers."""
        rows = -(-count // 4)
        drawn = uniforms(
            self._seed, Purpose.LINE, first=self._row, rows=rows, columns=4, who=self._who
        )
        self._row += rows
        return drawn.ravel()[:count]


@dataclass(frozen=True, slots=True)
class LineFault:
    """Happens to every frame with some probability.

    Attributes:
        meaning: For people; the number is a probability.
        apply: Takes a frame, the probability and dice; returns what arrives.
    """

    meaning: str
    apply: Callable[[bytes, float, Dice], bytes]


@dataclass(frozen=True, slots=True)
class TimedFault:
    """Happens once.

    Attributes:
        meaning: For people; the number is seconds from the start of the streams.
        happen: What it does.
    """

    meaning: str
    happen: Callable[[FaultyRig], None]


def _lose(frame: bytes, share: float, dice: Dice) -> bytes:
    return b"" if dice(1)[0] < share else frame


def _double(frame: bytes, share: float, dice: Dice) -> bytes:
    return frame + frame if dice(1)[0] < share else frame


def _flip(frame: bytes, share: float, dice: Dice) -> bytes:
    draws = dice(2 * len(frame)).reshape(2, -1)
    damage = np.where(draws[0] < share, 1 << (8 * draws[1]).astype(int), 0)
    return bytes(np.frombuffer(frame, np.uint8) ^ damage.astype(np.uint8))


FAULTS: Mapping[str, LineFault | TimedFault] = {
    "loss": LineFault("frames lost, share", _lose),
    "flip": LineFault("bytes with one bit flipped, share", _flip),
    "double": LineFault("frames sent twice, share", _double),
    "bridge": TimedFault(
        "the rig reports an open bridge, s",
        lambda rig: rig.report(FaultCode.BRIDGE_OPEN, NO_STREAM, "bridge open"),
    ),
    "saturate": TimedFault(
        "a force channel stands at its rail for 2 s, s", lambda rig: rig.hold_at_rail()
    ),
    "imu": TimedFault("the inertial unit does not answer for 1 s, s", lambda rig: rig.lose_imu()),
    "converter": TimedFault(
        "the converter of the load cell falls silent, s", lambda rig: rig.lose_converter()
    ),
    "overrun": TimedFault(
        "the rig cannot get rid of its samples for 0.2 s, s", lambda rig: rig.overrun()
    ),
    "restart": TimedFault("the rig restarts, s", lambda rig: rig.restart()),
    "silence": TimedFault("the rig hangs, s", lambda rig: rig.fall_silent()),
    "unplug": TimedFault("the cable is pulled, s", lambda rig: rig.pull_plug()),
}
"""By name: what can go wrong."""

FaultPlan = Mapping[str, float]
"""Names of `FAULTS` with their number."""


def parse_faults(text: str) -> dict[str, float]:
    """Read a plan such as ``loss:0.001,flip:1e-5``.

    Raises:
        ValueError: An unknown name, or a number that will not do; fit for people.
    """
    plan: dict[str, float] = {}
    for item in filter(None, text.split(",")):
        name, _, number = item.partition(":")
        if name not in FAULTS:
            raise ValueError(f"unknown fault {name!r}; known: {', '.join(FAULTS)}")
        if name in plan:
            raise ValueError(f"fault {name!r} is given twice")
        plan[name] = _number(name, number)
    return plan


def _number(name: str, text: str) -> float:
    limit = 1.0 if isinstance(FAULTS[name], LineFault) else math.inf
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= limit or math.isinf(value):
        wanted = "a share from 0 to 1" if limit == 1.0 else "seconds, 0 or more"
        raise ValueError(f"fault {name!r} needs {wanted}, as {name}:NUMBER")
    return value
