"""The stabilising hand, live: its cell's samples laid beside the rows of the chain.

The chain never waits for the second cell: what has not been heard when a row comes out, a delay
behind its moment, is not known in it. Its low-pass runs one way, so what a row tells of this hand
is older than the rest of it by that delay once more.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import PhysicalUnits, at_rails
from acquisition.rig import RigDescription
from analysis.filters import LiveLowPass, LowPass, smooth_live
from analysis.live_grid import NEW_CLOCK_S
from analysis.live_zero import LiveZero
from analysis.resolve import ContactState, contact
from analysis.series import ResolvedSeries, read_only
from analysis.settings import AnalysisSettings
from analysis.timebase import Sampled, longest_bridge_s, onto_grid, physical_values
from analysis.vectors import lengths
from firmware_protocol.messages import Identity, StreamSpec

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def live_stabiliser_of(
    rig: RigDescription, identity: Identity, settings: AnalysisSettings, *, fs_hz: float
) -> LiveStabiliser | None:
    """Return what follows the stabilising hand, None if the rig does not offer its cell."""
    name = rig.stabiliser.stream if rig.stabiliser else None
    spec = next((one for one in identity.streams if one.name == name), None)
    return None if spec is None else LiveStabiliser(rig, spec, settings, fs_hz=fs_hz)


class LiveStabiliser:
    """Follows the hand on the scapula block.

    Args:
        rig: Describes its cell.
        spec: Its stream.
        settings: Parameters, those of the first cell.
        fs_hz: Rate of the rows.

    Attributes:
        name: Of its stream.
    """

    def __init__(
        self, rig: RigDescription, spec: StreamSpec, settings: AnalysisSettings, *, fs_hz: float
    ) -> None:
        self.name = spec.name
        self._spec = spec
        self._units = PhysicalUnits(rig)
        self._settings = settings
        self._fs_hz = fs_hz
        self._bridge_s = longest_bridge_s(spec, settings.max_gap_s)
        self._held: Sampled | None = None
        self._begin()

    def _begin(self) -> None:
        spec = LowPass(cutoff_hz=self._settings.cutoff_hz, order=self._settings.filter_order)
        self._filter = LiveLowPass(spec, fs_hz=self._fs_hz)
        self._zero = LiveZero(self._settings, fs_hz=self._fs_hz)
        self._contact = ContactState()

    def feed(self, device_time_us: NDArray[np.int64], counts: NDArray[np.int32]) -> None:
        """Take samples of its stream: times (n,), counts (n, 3), raw."""
        if not len(counts):
            return
        time_s = np.asarray(device_time_us * 1e-6)
        if self._held is not None and time_s[0] < self._held.time_s[-1] - NEW_CLOCK_S:
            self._held = None  # the rig has restarted
            self._begin()
        values = physical_values(self._units, counts, self._spec)
        rails = at_rails(counts, self._spec)
        if self._held is not None:
            new = time_s > self._held.time_s[-1]
            time_s = np.concatenate([self._held.time_s, time_s[new]])
            values = np.concatenate([self._held.values, values[new]])
            rails = np.concatenate([self._held.saturated, rails[new]])
        self._held = Sampled(time_s, values, rails)

    def zero(self) -> str:
        """Take its zero from the last quiet second; return why not, or an empty text."""
        return self._zero.take()

    def follow(
        self, rows: ResolvedSeries, at_home: Flags, grid_less_device_s: float
    ) -> ResolvedSeries:
        """Return rows with what the stabilising hand did in them.

        Args:
            rows: The next ones.
            at_home: Shape (n,), the arm rested at home.
            grid_less_device_s: What turns the rig's time into that of the rows.
        """
        force, known = self._at(rows.time_s - grid_less_device_s)
        force = smooth_live(self._filter, force, known)
        first = self._zero.feed(force, at_home)
        zero = np.nan if self._zero.wrench is None else self._zero.wrench
        magnitude = lengths(force - zero)
        magnitude[:first] = np.nan
        on, self._contact = contact(magnitude, self._fs_hz, self._settings, self._contact)
        return read_only(replace(rows, stabiliser_n=magnitude, stabiliser_on=on))

    def _at(self, device_s: Floats) -> tuple[Floats, Flags]:
        """Return the force (n, 3) at some times of the rig's clock, and where it is known (n,)."""
        force = np.full((len(device_s), 3), np.nan)
        held = self._held
        if held is None or len(held.time_s) < 2:
            return force, np.zeros(len(device_s), dtype=np.bool_)
        known = (device_s >= held.time_s[0]) & (device_s <= held.time_s[-1])
        values, gap, rail = onto_grid(device_s[known], held, self._bridge_s)
        values[gap | rail] = np.nan
        force[known] = values
        self._held = _from(held, float(device_s[-1]))
        return force, np.isfinite(force[:, 0])


def _from(held: Sampled, until_s: float) -> Sampled:
    """Return samples from the last one before a time on, two at least."""
    before = int(np.searchsorted(held.time_s, until_s)) - 1
    keep = max(0, min(before, len(held.time_s) - 2))
    return Sampled(held.time_s[keep:], held.values[keep:], held.saturated[keep:])
