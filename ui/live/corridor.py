"""The experts' band at the place of the arc where the arm is: the corridor for a trainee."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.reference.model import Reference, as_array
from analysis.resolve import target_map
from analysis.series import ResolvedSeries
from analysis.trial import PhaseName
from ui.live.phases import MovementPhase, PhaseFollower

Floats = NDArray[np.float64]

AZIMUTH, SUPERIOR, FORCE, SPEED = (
    "azimuth_error_deg", "superior_angle_deg", "force_N", "elevation_speed_deg_s",
)  # fmt: skip
WAYS = {
    MovementPhase.SET_UP: PhaseName.RAISE,
    MovementPhase.RAISE: PhaseName.RAISE,
    MovementPhase.LOWER: PhaseName.LOWER,
}
"""Which way a phase belongs to; with the hand on and the arm at home the raise is next."""
SIDE_POINTS = 9

Edges = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Corridor:
    """What the experts' band is at one place of the arc, low and high of each quantity.

    Attributes:
        azimuth_deg: Azimuth, not its error.
        superior_deg: Superior angle.
        force_n: Force; None if its band is too wide to judge by.
        speed_deg_s: Speed of the elevation; likewise.
        outline_deg: Shape (n, 2), on the target map: toward lateral, toward superior; n is 0 if
            the band of one of the angles is too wide to judge by.
    """

    azimuth_deg: Edges
    superior_deg: Edges
    force_n: Edges | None
    speed_deg_s: Edges | None
    outline_deg: Floats


class CorridorModel:
    """Follows the arm along a reference; must see every new row.

    Args:
        reference: The experts'.
    """

    def __init__(self, reference: Reference) -> None:
        self.reference = reference
        self._follower = PhaseFollower()
        self._too_wide = {key for key, band in reference.bands.items() if band.too_wide}
        self._at = np.array(reference.elevation_deg)
        self._edges = {way: _edges_of(reference, way) for way in (PhaseName.RAISE, PhaseName.LOWER)}

    def look(
        self, new: ResolvedSeries | None, elevation_deg: float, toward: Floats
    ) -> Corridor | None:
        """Return the corridor of now; None where the arm rests or the experts never were.

        Args:
            new: Rows since the last look.
            elevation_deg: Of the arm now, NaN if not known.
            toward: Shape (3,), where the target points: the middle of the map.
        """
        if new is not None and len(new):
            self._follower.feed(new)
        way = WAYS.get(self._follower.phase)
        if way is None or np.isnan(elevation_deg):
            return None
        place = self._place(elevation_deg)
        found = {key: (low[place], high[place]) for key, (low, high) in self._edges[way].items()}
        if not np.isfinite(list(found.values())).all():
            return None
        return self._corridor(found, self._theta_deg(elevation_deg, way), toward)

    def _place(self, elevation_deg: float) -> int:
        """Return the bin that the arm is in: that whose middle is nearest."""
        return int(np.argmin(np.abs(self._at - elevation_deg)))

    def _theta_deg(self, elevation_deg: float, way: PhaseName) -> float:
        """Return the azimuth of the experts' target, which the errors are counted from."""
        target = self.reference.target
        if target.scapula is None:
            return target.glide_azimuth_deg
        lowering = np.array([float(way is PhaseName.LOWER)])
        x, _, z = target.directions(np.deg2rad([elevation_deg]), lowering)[0]
        return float(np.rad2deg(np.arctan2(z, -x)))

    def _corridor(self, found: Mapping[str, Edges], theta_deg: float, toward: Floats) -> Corridor:
        azimuth = found[AZIMUTH][0] + theta_deg, found[AZIMUTH][1] + theta_deg
        return Corridor(
            azimuth_deg=azimuth,
            superior_deg=found[SUPERIOR],
            force_n=None if FORCE in self._too_wide else found[FORCE],
            speed_deg_s=None if SPEED in self._too_wide else found[SPEED],
            outline_deg=outline_deg(azimuth, found[SUPERIOR], toward)
            if not self._too_wide & {AZIMUTH, SUPERIOR}
            else np.zeros((0, 2)),
        )


def outline_deg(azimuth_deg: Edges, superior_deg: Edges, toward: Floats) -> Floats:
    """Return where a range of azimuth and superior angle lies on the map, shape (n, 2), degrees."""
    across, up = (np.linspace(*edges, SIDE_POINTS) for edges in (azimuth_deg, superior_deg))
    azimuth = np.concatenate(
        [across, np.full(SIDE_POINTS, azimuth_deg[1]), across[::-1],
         np.full(SIDE_POINTS, azimuth_deg[0])]
    )  # fmt: skip
    superior = np.concatenate(
        [np.full(SIDE_POINTS, superior_deg[0]), up, np.full(SIDE_POINTS, superior_deg[1]), up[::-1]]
    )
    a, b = np.deg2rad(azimuth), np.deg2rad(superior)
    pushes = np.stack([-np.cos(b) * np.cos(a), np.sin(b), np.cos(b) * np.sin(a)], axis=1)
    return np.asarray(np.rad2deg(target_map(pushes, toward)))


def _edges_of(reference: Reference, way: PhaseName) -> dict[str, tuple[Floats, Floats]]:
    bands = ((key, band.ways[way]) for key, band in reference.bands.items())
    return {key: (as_array(band.low), as_array(band.high)) for key, band in bands}
