"""A target that follows the scapula, for rigs whose scapula block does not turn with the arm.

Of an arm's elevation the scapula takes its share, by a scapulohumeral rhythm, and carries the
glide's direction along. With u the upward rotation, the scapula of the target's azimuth θ turns
from Ry(θ) to Ry(θ − x)·Rx(−u)·Rz(t), the ISB order for scapula against thorax (Wu et al. 2005,
J Biomech 38:981): external rotation x and posterior tilt t grow in proportion to u. At home
nothing has turned.

The rhythm differs between raising and lowering. The way from one to the other is walked in
`ScapularRhythm.crossover_deg` of coming down, and back in as much of going up again, so that the
target never jumps and a tremble at the top hardly moves it.
"""

from __future__ import annotations

from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class ScapularRhythm(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``[scapula]`` of a target: how a scapula would turn with the arm.

    Group means; people differ much. Angles are of an arm raised near the scapular plane.

    Attributes:
        rhythm_raising: Degrees at the glenohumeral joint for each degree of upward rotation
            while raising (Braman et al. 2009, J Shoulder Elbow Surg 18:960: 2.3; classic 2,
            Inman 1944; 2.4, Dayanidhi et al. 2005, Clin Biomech 20:600).
        rhythm_lowering: The same while lowering (Braman et al. 2009: 2.7).
        posterior_tilt_per_upward: Degrees of posterior tilt for each degree of upward rotation:
            30 in 50 in the scapular plane (McClure et al. 2001, J Shoulder Elbow Surg 10:269,
            from memory). That it grows all the way up: Braman et al. 2009.
        external_rotation_per_upward: Likewise. 0 because published signs disagree: external by
            McClure et al. 2001 (from memory), internal up to 125° of glenohumeral elevation by
            Braman et al. 2009.
        crossover_deg: How far the arm comes down before the rhythm is all that of lowering. Ours.
    """

    rhythm_raising: Annotated[float, Meta(gt=0, le=20)] = 2.3
    rhythm_lowering: Annotated[float, Meta(gt=0, le=20)] = 2.7
    posterior_tilt_per_upward: Annotated[float, Meta(ge=-2, le=2)] = 0.6
    external_rotation_per_upward: Annotated[float, Meta(ge=-2, le=2)] = 0.0
    crossover_deg: Annotated[float, Meta(gt=0, le=180)] = 30.0

    @property
    def in_words(self) -> str:
        """What the target does, for people."""
        return (
            f"moves with the scapula, {self.rhythm_raising:g} to 1 while raising and "
            f"{self.rhythm_lowering:g} to 1 while lowering; per degree of upward rotation "
            f"{self.posterior_tilt_per_upward:g}° of posterior tilt and "
            f"{self.external_rotation_per_upward:g}° of external rotation"
        )

    def upward_rotation_rad(self, elevation_rad: Floats, lowering: Floats) -> Floats:
        """Return how far the scapula has turned upward since home, shape (n,).

        The arm's elevation is the sum of both: of 1 + r degrees the scapula has one.

        Args:
            elevation_rad: Shape (n,).
            lowering: Shape (n,), 0 all raising to 1 all lowering.
        """
        up, down = 1.0 / (1.0 + self.rhythm_raising), 1.0 / (1.0 + self.rhythm_lowering)
        return np.asarray(elevation_rad * (up + lowering * (down - up)))

    def carried(self, azimuth_rad: float, tilt_rad: float, upward_rad: Floats) -> Floats:
        """Return a direction carried along with the scapula, unit vectors (n, 3) in B.

        Args:
            azimuth_rad: The direction's at home, which is also how far the scapula faces inward.
            tilt_rad: Its inferior tilt at home.
            upward_rad: Shape (n,), upward rotation of the scapula since home.
        """
        # Posterior tilt adds to the inferior one; the rest is Ry(θ − x)·Rx(−u) written out.
        tilt = tilt_rad + self.posterior_tilt_per_upward * upward_rad
        faces = azimuth_rad - self.external_rotation_per_upward * upward_rad
        back, down = np.cos(tilt), np.sin(tilt)
        out = np.sin(upward_rad) * down
        return np.stack(
            [
                out * np.sin(faces) - back * np.cos(faces),
                -np.cos(upward_rad) * down,
                out * np.cos(faces) + back * np.sin(faces),
            ],
            axis=1,
        )


class WayFollower:
    """How far the rhythm is that of lowering, sample by sample; cutting into blocks is nothing.

    It is led like a slack rope: coming down by `ScapularRhythm.crossover_deg` takes it from 0 to
    1, going up as far takes it back, and beyond either end it stays.
    """

    def __init__(self, rhythm: ScapularRhythm) -> None:
        self._slope = float(1.0 / np.deg2rad(rhythm.crossover_deg))
        self._share = 0.0
        self._before = np.nan

    def feed(self, elevation_rad: Floats) -> Floats:
        """Take the next elevations (n,), NaN where not known; return the shares, (n,)."""
        known = np.isfinite(elevation_rad)
        values = elevation_rad[known]
        if not len(values):
            return np.full(len(elevation_rad), self._share)
        first = values[0] if np.isnan(self._before) else self._before
        share, shares = self._share, []
        for step in (np.diff(values, prepend=first) * self._slope).tolist():
            share = min(1.0, max(0.0, share - step))
            shares.append(share)
        # Where elevation is not known the share stays as it was.
        held = np.concatenate([[self._share], shares])[np.cumsum(known)]
        self._share, self._before = share, values[-1]
        return np.asarray(held)
