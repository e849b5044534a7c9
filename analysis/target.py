"""The target: where the push should go, and what counts as on it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import msgspec
import numpy as np
from msgspec import Meta
from numpy.typing import NDArray

from acquisition.toml_records import read_toml, to_record
from analysis.errors import TargetError
from analysis.scapula import ScapularRhythm, WayFollower
from analysis.series import ResolvedSeries

Floats = NDArray[np.float64]


class ForceBand(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Permitted magnitude of the push, newtons.

    Published group means for this kind of glide differ fivefold (18 to 39 N on a cadaver
    shoulder, 42 to 209 N by grade in vivo), so there is no correct force: the instructor sets
    the band. The default is our own choice for practice on a rig.
    """

    low_n: Annotated[float, Meta(ge=0)] = 20.0
    high_n: Annotated[float, Meta(gt=0)] = 60.0

    def __post_init__(self) -> None:
        if self.low_n >= self.high_n:
            raise ValueError("force_band.low_n must lie below force_band.high_n")


class Target(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a push is measured against. Angles in degrees, right shoulder.

    Attributes:
        glide_azimuth_deg: Direction seen from above, from straight back toward lateral. 30 is
            common practice for a scapular plane 30 degrees in front of the frontal plane;
            published resting planes run from 30 to 40.
        inferior_tilt_deg: Downward tilt. "If anything very slightly down"; 5 is our choice.
        cone_deg: Half-angle round the target that counts as on it. Our choice.
        superior_limit_deg: Superior angle that still counts as not upward. Our choice: about
            twice the uncertainty of a good rig.
        force_band: Permitted magnitude.
        elevation_speed_limit_deg_s: "Slowly". Our choice: no published range is confirmed.
        minimum_hold_coverage_percent: Share of the movement that must be held. Our choice.
        force_cv_limit_percent: Steadiness: largest coefficient of variation over the movement.
            Our choice: published values of 1 to 5 % are for a limb at rest.
        direction_u_limit_deg: A direction less certain than this is no direction.
        scapula: How the target moves with the arm; None, and it stands still.
    """

    glide_azimuth_deg: Annotated[float, Meta(ge=-90, le=90)] = 30.0
    inferior_tilt_deg: Annotated[float, Meta(ge=-45, le=45)] = 5.0
    cone_deg: Annotated[float, Meta(gt=0, le=90)] = 10.0
    superior_limit_deg: Annotated[float, Meta(ge=-45, le=45)] = 2.0
    force_band: ForceBand = ForceBand()
    elevation_speed_limit_deg_s: Annotated[float, Meta(gt=0)] = 30.0
    minimum_hold_coverage_percent: Annotated[float, Meta(ge=0, le=100)] = 95.0
    force_cv_limit_percent: Annotated[float, Meta(gt=0)] = 15.0
    direction_u_limit_deg: Annotated[float, Meta(gt=0, le=30)] = 3.0
    scapula: ScapularRhythm | None = None

    @property
    def direction(self) -> Floats:
        """Unit vector of the target in the base frame B, shape (3,); at home, if it moves."""
        azimuth, tilt = np.deg2rad([self.glide_azimuth_deg, self.inferior_tilt_deg])
        return np.array(
            [-np.cos(tilt) * np.cos(azimuth), -np.sin(tilt), np.cos(tilt) * np.sin(azimuth)]
        )

    def directions(self, elevation_rad: Floats, lowering: Floats) -> Floats:
        """Return where the target points at an elevation, unit vectors (n, 3) in B.

        Args:
            elevation_rad: Shape (n,); NaN gives NaN where the target moves.
            lowering: Shape (n,), 0 all raising to 1 all lowering; see `WayFollower`.
        """
        if self.scapula is None:
            return np.broadcast_to(self.direction, (len(elevation_rad), 3))
        azimuth, tilt = np.deg2rad([self.glide_azimuth_deg, self.inferior_tilt_deg]).tolist()
        upward = self.scapula.upward_rotation_rad(elevation_rad, lowering)
        return self.scapula.carried(azimuth, tilt, upward)

    def directions_in(self, series: ResolvedSeries) -> Floats:
        """Return where the target pointed at each row of a series, unit vectors (n, 3) in B."""
        if series.target_direction is not None:
            return series.target_direction
        return np.broadcast_to(self.direction, (len(series), 3))

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        plain: dict[str, Any] = msgspec.to_builtins(self)
        return plain

    def to_json(self) -> str:
        """Return JSON: same target, same text."""
        return json.dumps(self.to_dict(), sort_keys=True)


class Aim:
    """Where a target points as the arm moves; remembers between blocks which way it goes."""

    def __init__(self, target: Target) -> None:
        self._target = target
        self._way = WayFollower(target.scapula) if target.scapula else None

    def __call__(self, elevation_rad: Floats) -> Floats | None:
        """Take the next elevations (n,); return unit vectors (n, 3), None if it stands still."""
        if self._way is None:
            return None
        return self._target.directions(elevation_rad, self._way.feed(elevation_rad))


def load_target(path: Path | str) -> Target:
    """Read a target from a TOML file (keys as in `Target`, at top level).

    Raises:
        TargetError: The file is missing or broken, or a key is wrong; one line says which.
    """
    data = read_toml(Path(path), TargetError)
    return to_record(data, Target, where=path, error=TargetError)


def target_from_json(text: str, *, where: object) -> Target:
    """Read back what `Target.to_json` gave; an empty text is the default target.

    Raises:
        TargetError: The text is no target.
    """
    if not text:
        return Target()
    try:
        data: Any = json.loads(text)
    except json.JSONDecodeError as cause:
        raise TargetError(f"{where}: target is not JSON: {cause}") from cause
    return to_record(data, Target, where=where, error=TargetError)
