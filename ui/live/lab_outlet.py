"""An outlet of the lab streaming layer, by its Python binding: the only place that knows it.

Streams of this layer are found by name, type or source over the local network by whoever wants
them. Its clock is the machine's steady clock as the library reads it; the offset to ours is
measured, not assumed.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.clock import NS_PER_S, Clock
from firmware_protocol.messages import Identity
from ui.errors import UserError
from ui.live.lab_stream import CHANNELS

Floats = NDArray[np.float64]

STREAM_TYPE = "PushDirection"
READINGS = 5


def load() -> Any:
    """Return the binding.

    Raises:
        UserError: It is not installed, or its library does not load on this system.
    """
    try:
        import pylsl
    except (ImportError, OSError, RuntimeError) as cause:
        why = " ".join(str(cause).split())
        raise UserError(
            f"no lab stream: pylsl cannot be loaded ({why[:200]}); install perpend with its lsl "
            "extra, and mind that its library needs glibc 2.35 or newer on Linux"
        ) from cause
    return pylsl


class LabOutlet:
    """Sends samples, each with the time at which it was taken.

    Args:
        identity: The rig; its serial names the stream and its source.
        side: Of the rig.
        fs_hz: Rate of the samples.
        clock: Whose times are given to `push`.

    Attributes:
        name: Of the stream.

    Raises:
        UserError: The binding cannot be loaded.
    """

    def __init__(self, identity: Identity, *, side: str, fs_hz: float, clock: Clock) -> None:
        self._lsl = load()
        self._clock = clock
        self.name = f"perpend {identity.rig_serial}"
        source = f"perpend-{identity.rig_serial}"
        info = self._lsl.StreamInfo(
            self.name, STREAM_TYPE, len(CHANNELS), fs_hz, self._lsl.cf_double64, source
        )
        _describe(info.desc(), identity, side)
        self._outlet: Any = self._lsl.StreamOutlet(info)
        self._offset_s = self._measured_offset_s()

    def push(self, values: Floats, host_ns: Floats) -> None:
        """Send samples, shape (n, channels), with their times by our clock, shape (n,)."""
        if self._outlet is not None:
            self._outlet.push_chunk(values, (host_ns / NS_PER_S + self._offset_s).tolist())

    def wait_for_receiver(self, seconds: float) -> bool:
        """Wait until somebody listens, at most *seconds*; tell whether anybody does."""
        return bool(self._outlet.wait_for_consumers(seconds))

    def close(self) -> None:
        """End the stream; twice is fine."""
        self._outlet = None  # what is let go of is closed

    def _measured_offset_s(self) -> float:
        """Return the layer's clock minus ours: of some readings the one between the closest."""
        readings = []
        for _ in range(READINGS):
            before_ns = self._clock.now_ns()
            theirs_s = self._lsl.local_clock()
            after_ns = self._clock.now_ns()
            ours_s = (before_ns + after_ns) / 2 / NS_PER_S
            readings.append((after_ns - before_ns, theirs_s - ours_s))
        return float(min(readings)[1])


def _describe(description: Any, identity: Identity, side: str) -> None:
    """Add what a receiver needs to know, after the layer's conventions for meta-data."""
    channels = description.append_child("channels")
    for label, unit in CHANNELS:
        channel = channels.append_child("channel")
        channel.append_child_value("label", label)
        channel.append_child_value("unit", unit)
    rig = description.append_child("rig")
    rig.append_child_value("serial", identity.rig_serial)
    rig.append_child_value("side", side)
    rig.append_child_value(
        "axes", "right shoulder: X anterior, Y superior, Z lateral; left sides are mirrored"
    )
