"""What can be said of the push right now, and the push itself as far as it can."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from analysis.resolve import push_angles, target_map
from analysis.series import ResolvedSeries, joined
from analysis.target import Target
from ui.live.feed import FeedState

Floats = NDArray[np.float64]

SMOOTH_S = 0.05
"""The newest moment is a mean over this: steadier than the eye needs, shorter than a blink."""

CLEARLY = 0.7
"""Upward and sideways a push of the same force is about equally certain, but for the heading.
If it is this clear upward and still not sideways, the heading is the reason, not the force."""


class PushState(Enum):
    """What can be said of the push; the text is for the screen."""

    DIRECTION = "direction"
    TOO_LIGHT = "too light to tell"
    NO_HEADING = "azimuth not certain"
    NO_CONTACT = "hand away"
    SATURATED = "saturated"
    NO_DATA = "no data"
    NO_ZERO = "waiting for a zero"


FORCE_KNOWN = (
    PushState.DIRECTION,
    PushState.TOO_LIGHT,
    PushState.NO_HEADING,
    PushState.NO_CONTACT,
)
UPWARD_KNOWN = (PushState.DIRECTION, PushState.NO_HEADING)


@dataclass(frozen=True, slots=True)
class Push:
    """The push of now; NaN whatever the state does not allow to be shown.

    Attributes:
        magnitude_n: Of the push.
        superior_n: Its upward component.
        superior_deg: Superior angle, + upward.
        superior_u_deg: Its standard uncertainty.
        azimuth_deg: 0 straight back, + lateral.
        azimuth_u_deg: Its standard uncertainty.
        map_deg: Shape (2,): toward lateral, toward superior of the target.
        map_u_deg: Shape (2,), standard uncertainties.
    """

    magnitude_n: float
    superior_n: float
    superior_deg: float
    superior_u_deg: float
    azimuth_deg: float
    azimuth_u_deg: float
    map_deg: Floats
    map_u_deg: Floats


def push_state(last: ResolvedSeries | None, feed: FeedState, target: Target) -> PushState:
    """Return what can be said, from the newest rows and the line."""
    if last is None or feed.silent:
        return PushState.NO_DATA
    if not feed.zeroed:
        return PushState.NO_ZERO
    rows = newest(last)
    if last.saturated[rows].any():
        return PushState.SATURATED
    if last.missing[rows].all():
        return PushState.NO_DATA
    if not last.contact[-1]:
        return PushState.NO_CONTACT
    if last.directed[rows].mean() > 0.5:
        return PushState.DIRECTION
    upward_u_rad = _mean(last.superior_angle_u_rad[rows, np.newaxis])[0]
    certain = upward_u_rad <= CLEARLY * np.deg2rad(target.direction_u_limit_deg)
    return PushState.NO_HEADING if certain else PushState.TOO_LIGHT


def push_now(last: ResolvedSeries | None, state: PushState, target: Target) -> Push:
    """Return the mean of the newest moment."""
    if last is None or state not in FORCE_KNOWN:
        return Push(*(np.nan,) * 6, np.full(2, np.nan), np.full(2, np.nan))
    rows = newest(last)
    force = _mean(last.force_n[rows])
    toward = target_now(last, target)
    u_deg = np.rad2deg(
        _mean(np.column_stack([last.azimuth_u_rad[rows], last.superior_angle_u_rad[rows]]))
    )
    # Without a heading the horizontal part of the force is unknown, its upward angle is not.
    superior_rad = float(
        push_angles(force[np.newaxis], toward).superior_angle_rad[0]
        if np.isfinite(force).all()
        else last.superior_angle_rad[-1]
    )
    upward = state in UPWARD_KNOWN
    directed = state is PushState.DIRECTION
    on_map = target_map(force[np.newaxis], toward)[0]
    return Push(
        magnitude_n=float(np.linalg.norm(force)),
        superior_n=float(last.superior_force_n[rows].mean()) if upward else np.nan,
        superior_deg=float(np.rad2deg(superior_rad)) if upward else np.nan,
        superior_u_deg=float(u_deg[1]) if upward else np.nan,
        azimuth_deg=float(np.rad2deg(np.arctan2(force[2], -force[0]))) if directed else np.nan,
        azimuth_u_deg=float(u_deg[0]) if directed else np.nan,
        map_deg=np.rad2deg(on_map) if directed else _unknown(),
        map_u_deg=u_deg * [np.cos(superior_rad), 1.0] if directed else _unknown(),
    )


def target_now(last: ResolvedSeries | None, target: Target) -> Floats:
    """Return where the target points at the newest moment, unit vector in B, shape (3,)."""
    if last is None or last.target_direction is None:
        return target.direction
    toward = _mean(last.target_direction[newest(last)])
    return toward / np.linalg.norm(toward) if np.isfinite(toward).all() else target.direction


def newest(series: ResolvedSeries) -> slice:
    """Return the rows of the newest moment."""
    return slice(-max(1, int(SMOOTH_S * series.fs_hz)), None)


def newest_of(recent: Sequence[ResolvedSeries]) -> ResolvedSeries | None:
    """Return enough of the newest blocks for the newest moment, None if there are none."""
    parts: list[ResolvedSeries] = []
    rows = 0
    for block in reversed(recent):
        parts.insert(0, block)
        rows += len(block)
        if rows >= SMOOTH_S * block.fs_hz:
            break
    return joined(parts)


def _unknown() -> Floats:
    return np.full(2, np.nan)


def _mean(rows: Floats) -> Floats:
    """Return the mean of the known rows, NaN if none is."""
    known = rows[np.isfinite(rows).all(axis=1)]
    return np.asarray(known.mean(axis=0)) if len(known) else np.full(rows.shape[1], np.nan)
