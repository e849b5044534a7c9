"""The causal twin of `pipeline`: blocks of raw counts in, resolved series out.

The same equations and the same filter specification, one way: it lags by `LiveChain.delay_s`
and holds the heading from the last rest at home instead of looking ahead. Cutting the streams
into blocks anywhere changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import right_shoulder_geometry
from acquisition.rig import RigDescription
from analysis.contact import head_contact_points
from analysis.filters import LiveLowPass, LowPass
from analysis.live_grid import LiveGrid
from analysis.live_orientation import LiveOrientation, OrientationTracker
from analysis.live_zero import LiveZero
from analysis.orientation import elevation, elevation_speed, plane_of_elevation
from analysis.resolve import push_angles, resolved_flags
from analysis.runs import runs_of
from analysis.series import ResolvedSeries, read_only
from analysis.settings import AnalysisSettings
from analysis.shell import ShellMotion, hand_force, hand_moment
from analysis.target import Target
from analysis.uncertainty import direction_uncertainty, sources_of
from firmware_protocol.messages import Identity

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LiveStatus:
    """Where the chain stands after the last block.

    Attributes:
        zeroed: A zero was taken; before that no force is shown.
        at_home: The arm rests at home.
        heading_age_s: Since the last home rest, NaN before the first.
    """

    zeroed: bool
    at_home: bool
    heading_age_s: float


class LiveChain:
    """Resolves the push as it comes.

    Attributes:
        delay_s: How far the force lags behind the hand, on slow changes.
        fs_hz: Rate of the series.
        status: Where it stands.
    """

    def __init__(
        self,
        rig: RigDescription,
        identity: Identity,
        target: Target,
        settings: AnalysisSettings | None = None,
    ) -> None:
        self._settings = settings or AnalysisSettings()
        self._rig = rig
        self._target = target
        self._geometry = right_shoulder_geometry(rig)
        self._grid = LiveGrid(rig, identity, max_gap_s=self._settings.max_gap_s)
        self.fs_hz = self._grid.fs_hz
        low_pass = LowPass(cutoff_hz=self._settings.cutoff_hz, order=self._settings.filter_order)
        self._filter = LiveLowPass(low_pass, fs_hz=self.fs_hz)
        self.delay_s = self._filter.delay_s
        self._tracker = OrientationTracker(
            self._geometry.vertical_in_base,
            float(np.deg2rad(rig.home.tolerance_deg)),
            self._settings,
            fs_hz=self.fs_hz,
        )
        self._zero = LiveZero(self._settings, fs_hz=self.fs_hz)
        self._rate_before: Floats | None = None
        self._contact_before = False
        self.status = LiveStatus(zeroed=False, at_home=False, heading_age_s=np.nan)

    def feed(self, name: str, device_time_us: NDArray[np.int64], counts: NDArray[np.int32]) -> None:
        """Take samples of a stream: times (n,), counts (n, channels). Unknown streams pass."""
        self._grid.feed(name, device_time_us, counts)

    def zero(self) -> str:
        """Take the zero from the last second; return why not, or an empty text when done."""
        return self._zero.take()

    def take(self) -> ResolvedSeries | None:
        """Return what is new since the last call, None if nothing."""
        taken = self._grid.take()
        if taken is None:
            return None
        time_s, values, missing, saturated = taken
        pose = self._tracker(values[:, -6:-3], values[:, -3:])
        values = np.hstack([values[:, :-3], pose.angular_rate_rad_s])
        smooth = self._smooth(values, ~(missing | saturated))
        wrench = self._wrench(smooth)
        zeroed_from = self._zero.feed(wrench, pose.at_home)
        wrench = self._zeroed(wrench, zeroed_from)
        series = self._resolve(time_s, wrench, smooth[:, -3:], pose, missing, saturated)
        self.status = LiveStatus(
            zeroed=self._zero.wrench is not None,
            at_home=bool(pose.at_home[-1]),
            heading_age_s=float(pose.heading_age_s[-1]),
        )
        return series

    def _smooth(self, values: Floats, known: Flags) -> Floats:
        out = np.full_like(values, np.nan)
        if not known[0]:
            self._filter.reset()
        for start, stop in runs_of(known):
            if start > 0:
                self._filter.reset()
            out[start:stop] = self._filter(values[start:stop])
        if not known[-1]:
            self._filter.reset()
        return out

    def _wrench(self, smooth: Floats) -> Floats:
        """Return the wrench with the shell out and the zero still in, (n, 3 or 6)."""
        force, specific_force, rate = smooth[:, :3], smooth[:, -6:-3], smooth[:, -3:]
        before = rate[:1] if self._rate_before is None else self._rate_before
        before = np.where(np.isfinite(before), before, rate[:1])
        turning = np.diff(np.concatenate([before, rate]), axis=0) * self.fs_hz
        # The first sample behind a gap has none before it: there the arm is taken as steady.
        turning = np.where(np.isfinite(rate) & ~np.isfinite(turning), 0.0, turning)
        self._rate_before = rate[-1:]
        motion = ShellMotion(specific_force, rate, turning)
        wrench = hand_force(force, self._geometry, motion)
        if smooth.shape[1] == 12:
            wrench = np.hstack([wrench, hand_moment(smooth[:, 3:6], self._geometry, motion)])
        return wrench

    def _zeroed(self, wrench: Floats, zeroed_from: int | None) -> Floats:
        if self._zero.wrench is None or zeroed_from is None:
            return np.full_like(wrench, np.nan)
        out = np.asarray(wrench - self._zero.wrench)
        out[:zeroed_from] = np.nan
        return out

    def _resolve(
        self,
        time_s: Floats,
        wrench: Floats,
        rate: Floats,
        pose: LiveOrientation,
        missing: Flags,
        saturated: Flags,
    ) -> ResolvedSeries:
        rotation = pose.humerus_to_base
        force = np.asarray(rotation.apply(np.nan_to_num(wrench[:, :3])))
        force[~np.isfinite(wrench[:, 0]) | ~np.isfinite(pose.heading_age_s)] = np.nan
        angles = push_angles(force, self._target.direction)
        drift = float(np.deg2rad(self._settings.heading_drift_deg_s))
        sources = sources_of(
            self._rig, noise_n=self._zero.noise_n, zero_n=0.0, heading_drift_rad_s=drift
        )
        u = direction_uncertainty(force, self._target.direction, pose.heading_age_s, sources)
        on, directed = resolved_flags(
            force, angles, u, self._target, self._settings, contact_before=self._contact_before
        )
        self._contact_before = bool(on[-1])
        min_raised = float(np.deg2rad(self._settings.plane_min_elevation_deg))
        unseen = ~np.isfinite(rate).all(axis=1)
        raised, plane = elevation(rotation), plane_of_elevation(rotation, min_raised)
        raised[missing], plane[missing] = np.nan, np.nan
        speed = elevation_speed(rotation, np.nan_to_num(rate))
        speed[unseen] = np.nan
        return read_only(
            ResolvedSeries(
                fs_hz=self.fs_hz,
                time_s=time_s,
                force_n=force,
                glide_n=angles.glide_n,
                azimuth_rad=angles.azimuth_rad,
                superior_angle_rad=angles.superior_angle_rad,
                off_axis_rad=angles.off_axis_rad,
                azimuth_u_rad=u.azimuth_rad,
                superior_angle_u_rad=u.superior_angle_rad,
                off_axis_u_rad=u.off_axis_rad,
                elevation_rad=raised,
                plane_rad=plane,
                elevation_speed_rad_s=speed,
                missing=missing,
                saturated=saturated,
                contact=on,
                directed=directed,
                contact_point_m=head_contact_points(wrench, self._geometry),
            )
        )
