"""What one look at the trainer shows, as frozen values. No Qt here.

`TrainerModel.refresh` turns what is new into a `Picture`; widgets only draw it.
"""

from __future__ import annotations

from collections import deque
from dataclasses import asdict, dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from analysis.resolve import target_map
from analysis.series import ResolvedSeries
from analysis.target import Target
from ui.live.feed import FeedState, LiveFeed
from ui.live.phases import MovementPhase, PhaseFollower

Floats = NDArray[np.float64]

TRAIL_S = 2.0
TRAIL_POINTS = 60
TRACE_S = 20.0
TRACE_COLUMNS = 400
SMOOTH_S = 0.05


class PushState(Enum):
    """What can be said of the push right now; the text is for the screen."""

    DIRECTION = "direction"
    TOO_LIGHT = "too light to tell"
    NO_CONTACT = "hand away"
    SATURATED = "saturated: press less"
    NO_DATA = "no data"
    NO_ZERO = "hands off: waiting for a zero"


@dataclass(frozen=True, slots=True)
class Picture:
    """One look. Angles in degrees; NaN where nothing is known.

    Attributes:
        state: What can be said.
        on_target: Inside the cone, not upward, force in band; only with a direction.
        map_deg: Shape (2,): toward lateral, toward superior of the target.
        map_u_deg: Shape (2,), standard uncertainties, half axes of the ellipse.
        trail_deg: Shape (n, 2), oldest first.
        azimuth_deg: Of the push.
        superior_deg: Of the push, + upward.
        superior_u_deg: Its standard uncertainty.
        superior_force_n: Upward component.
        force_n: Magnitude.
        elevation_deg: Of the arm.
        speed_deg_s: Of the elevation, + raising.
        phase: Of the movement.
        repetitions: Finished so far.
        trace_s: Shape (m,), seconds before now, negative.
        trace_superior_deg: Shape (m, 2), least and greatest in each column.
        trace_force_n: Shape (m, 2).
        trace_elevation_deg: Shape (m, 2).
        feed: Line, recording, zero.
    """

    state: PushState
    on_target: bool
    map_deg: Floats
    map_u_deg: Floats
    trail_deg: Floats
    azimuth_deg: float
    superior_deg: float
    superior_u_deg: float
    superior_force_n: float
    force_n: float
    elevation_deg: float
    speed_deg_s: float
    phase: MovementPhase
    repetitions: int
    trace_s: Floats
    trace_superior_deg: Floats
    trace_force_n: Floats
    trace_elevation_deg: Floats
    feed: FeedState


class TrainerModel:
    """Keeps the last seconds and makes pictures of them."""

    def __init__(self, feed: LiveFeed) -> None:
        self.feed = feed
        self.target: Target = feed.target
        self._follower = PhaseFollower()
        self._recent: deque[ResolvedSeries] = deque()

    def refresh(self) -> Picture:
        """Pull what is new and return the picture of now."""
        new = self.feed.refresh()
        if new is not None and len(new):
            if self._recent and new.time_s[0] < self._recent[-1].time_s[-1]:
                self._recent.clear()  # the rig began anew
            self._recent.append(new)
            self._follower.feed(new)
            self._forget(float(new.time_s[-1]) - TRACE_S)
        return self._picture(self.feed.state())

    def _forget(self, before_s: float) -> None:
        while self._recent and self._recent[0].time_s[-1] < before_s:
            self._recent.popleft()

    def _picture(self, feed: FeedState) -> Picture:
        last = self._recent[-1] if self._recent else None
        state = push_state(last, feed)
        now = _now(last, state, self.target)
        time_s, traces = self._traces()
        return Picture(
            state=state,
            on_target=_on_target(now, self.target),
            trail_deg=self._trail(),
            phase=self._follower.phase,
            repetitions=self._follower.repetitions,
            trace_s=time_s,
            trace_superior_deg=traces[0],
            trace_force_n=traces[1],
            trace_elevation_deg=traces[2],
            feed=feed,
            **asdict(now),
        )

    def _trail(self) -> Floats:
        """Return where the push went lately, on the map, thinned, shape (n, 2)."""
        if not self._recent:
            return np.zeros((0, 2))
        since_s = float(self._recent[-1].time_s[-1]) - TRAIL_S
        late = [one for one in self._recent if one.time_s[-1] > since_s]
        force = np.concatenate([one.force_n for one in late])
        directed = np.concatenate([one.directed for one in late])
        step = max(1, len(force) // TRAIL_POINTS)
        force, directed = force[::step], directed[::step]
        return np.asarray(np.rad2deg(target_map(force[directed], self.target.direction)))

    def _traces(self) -> tuple[Floats, list[Floats]]:
        """Return the columns of the traces: seconds before now, and least and greatest of each.

        However many samples came, what is drawn has as many points as the screen has columns.
        """
        edges = np.linspace(-TRACE_S, 0.0, TRACE_COLUMNS + 1)
        middle = (edges[:-1] + edges[1:]) / 2.0
        traces = [np.full((TRACE_COLUMNS, 2), np.nan) for _ in range(3)]
        if not self._recent:
            return middle, traces
        time_s = np.concatenate([one.time_s for one in self._recent])
        column = np.floor((time_s - time_s[-1] + TRACE_S) / TRACE_S * TRACE_COLUMNS).astype(int)
        column = np.clip(column, 0, TRACE_COLUMNS - 1)
        superior = [np.where(o.directed, o.superior_angle_rad, np.nan) for o in self._recent]
        values = (
            np.rad2deg(np.concatenate(superior)),
            np.concatenate([one.magnitude_n for one in self._recent]),
            np.rad2deg(np.concatenate([one.elevation_rad for one in self._recent])),
        )
        starts = np.flatnonzero(np.diff(column, prepend=-1))
        for trace, value in zip(traces, values, strict=True):
            trace[column[starts], 0] = np.fmin.reduceat(value, starts)
            trace[column[starts], 1] = np.fmax.reduceat(value, starts)
        return middle, traces


@dataclass(frozen=True, slots=True)
class _Now:
    """The numbers of now; fields as in `Picture`."""

    map_deg: Floats
    map_u_deg: Floats
    azimuth_deg: float
    superior_deg: float
    superior_u_deg: float
    superior_force_n: float
    force_n: float
    elevation_deg: float
    speed_deg_s: float


def push_state(last: ResolvedSeries | None, feed: FeedState) -> PushState:
    """Return what can be said of the push, from the newest block and the line."""
    if last is None or feed.silent:
        return PushState.NO_DATA
    if not feed.zeroed:
        return PushState.NO_ZERO
    tail = slice(-max(1, int(SMOOTH_S * last.fs_hz)), None)
    if last.saturated[tail].any():
        return PushState.SATURATED
    if last.missing[tail].all():
        return PushState.NO_DATA
    if not last.contact[-1]:
        return PushState.NO_CONTACT
    return PushState.DIRECTION if last.directed[tail].mean() > 0.5 else PushState.TOO_LIGHT


def _now(last: ResolvedSeries | None, state: PushState, target: Target) -> _Now:
    """Return the mean of the newest moment; unknown whatever the state does not allow."""
    nothing = np.full(2, np.nan)
    unknown = float("nan")
    if last is None or state is PushState.NO_DATA:
        return _Now(nothing, nothing, *(unknown,) * 7)
    tail = slice(-max(1, int(SMOOTH_S * last.fs_hz)), None)
    elevation, speed = (
        np.rad2deg(last.elevation_rad[-1]),
        np.rad2deg(last.elevation_speed_rad_s[-1]),
    )
    force = _mean(last.force_n[tail])
    size = float(np.linalg.norm(force))
    if state is not PushState.DIRECTION:
        shown = size if state in (PushState.TOO_LIGHT, PushState.NO_CONTACT) else unknown
        return _Now(nothing, nothing, unknown, unknown, unknown, unknown, shown, elevation, speed)
    level = float(np.hypot(force[0], force[2]))
    u = np.rad2deg(
        [
            _mean(last.azimuth_u_rad[tail, np.newaxis])[0] * level / size,
            _mean(last.superior_angle_u_rad[tail, np.newaxis])[0],
        ]
    )
    return _Now(
        map_deg=np.rad2deg(target_map(force[np.newaxis], target.direction))[0],
        map_u_deg=u,
        azimuth_deg=float(np.rad2deg(np.arctan2(force[2], -force[0]))),
        superior_deg=float(np.rad2deg(np.arctan2(force[1], level))),
        superior_u_deg=float(u[1]),
        superior_force_n=float(force[1]),
        force_n=size,
        elevation_deg=float(elevation),
        speed_deg_s=float(speed),
    )


def _mean(rows: Floats) -> Floats:
    """Return the mean of the known rows, NaN if none is."""
    known = rows[np.isfinite(rows).all(axis=1)]
    return np.asarray(known.mean(axis=0)) if len(known) else np.full(rows.shape[1], np.nan)


def _on_target(now: _Now, target: Target) -> bool:
    """Tell whether direction, upward part and force are all right; unknown is not."""
    band = target.force_band
    off_axis = float(np.hypot(*now.map_deg))
    return bool(
        off_axis <= target.cone_deg
        and now.superior_deg <= target.superior_limit_deg
        and band.low_n <= now.force_n <= band.high_n
    )
