"""The causal twin of `pipeline`: blocks of raw counts in, resolved series out.

The same equations and the same filter specification, one way. The low-pass lags, so poses wait
for the force that belongs to them: a row tells what was `LiveChain.delay_s` ago, and its time
says so. The heading is held from the last rest at home instead of looking ahead. Cutting the
streams into blocks anywhere changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import right_shoulder_geometry
from acquisition.rig import RigDescription
from analysis.filters import LiveLowPass, LowPass, smooth_live
from analysis.live_grid import GridBlock, LiveGrid
from analysis.live_orientation import LiveFollowed, LiveOrientation, OrientationTracker
from analysis.live_stabiliser import live_stabiliser_of
from analysis.live_zero import LiveZero
from analysis.resolve import ContactState, Unresolved, contact, resolve
from analysis.series import ResolvedSeries, joined, unsettled_where
from analysis.settings import AnalysisSettings
from analysis.shell import ShellMotion, hand_wrench
from analysis.target import Aim, Target
from analysis.turns import Turns
from analysis.uncertainty import Shown, sources_of
from analysis.vectors import angle_between, lengths
from firmware_protocol.messages import Identity

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LiveStatus:
    """Where the chain stands after the last block.

    Attributes:
        zeroed: A zero was taken; before that no force is shown.
        at_home: The arm rests at home.
        heading_age_s: Since the last home rest, infinite before the first.
        restarts: How often the rig has begun anew.
        leaned_rad: How far from home the arm rested last, hands off: the rig was moved, or the
            arm did not come home. 0 if it rested at home.
        levelled: How often the vertical was taken anew, because the rig had been moved.
    """

    zeroed: bool = False
    at_home: bool = False
    heading_age_s: float = np.inf
    restarts: int = 0
    leaned_rad: float = 0.0
    levelled: int = 0


class LiveChain:
    """Resolves the push as it comes.

    Args:
        rig: The rig description.
        identity: What the rig says of itself.
        target: What to resolve against.
        settings: Parameters; None takes the defaults.

    Attributes:
        fs_hz: Rate of the series.
        delay_s: How old the newest row is, by the newest sample: that of the low-pass on slow
            changes. The wait for a block to fill comes on top.
        status: Where it stands.

    Raises:
        NotAnalysable: The rig does not offer the streams that are needed.
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
        self._grid = LiveGrid(rig, identity, self._settings)
        self.fs_hz = self._grid.fs_hz
        self._second = live_stabiliser_of(rig, identity, self._settings, fs_hz=self.fs_hz)
        self._restarts = 0
        self._begin()
        self.status = LiveStatus()

    def _begin(self) -> None:
        """Start from nothing: at first, and when the rig has restarted."""
        settings, fs_hz = self._settings, self.fs_hz
        low_pass = LowPass(cutoff_hz=settings.cutoff_hz, order=settings.filter_order)
        self._push_filter = LiveLowPass(low_pass, fs_hz=fs_hz)
        self._move_filter = LiveLowPass(low_pass, fs_hz=fs_hz)
        delay = round(self._push_filter.delay_s * fs_hz)
        self.delay_s = delay / fs_hz
        self._late = _Delay(delay)
        self._tracker = OrientationTracker(
            self._geometry.vertical_in_base,
            float(np.deg2rad(self._rig.home.tolerance_deg)),
            settings,
            fs_hz=fs_hz,
        )
        self._zero = LiveZero(settings, fs_hz=fs_hz)
        self._rate_before = np.full((1, 3), np.nan)
        self._home_tilt_rad: float | None = None
        self._contact = ContactState()
        self._aim = Aim(self._target)

    def time_s(self, device_time_us: int) -> float:
        """Return when on the series a moment of the rig's clock was; NaN before it has begun."""
        return self._grid.time_s(device_time_us)

    def feed(self, name: str, device_time_us: NDArray[np.int64], counts: NDArray[np.int32]) -> None:
        """Take samples of a stream: times (n,), counts (n, channels). Unknown streams pass."""
        self._grid.feed(name, device_time_us, counts)
        if self._second is not None and name == self._second.name:
            self._second.feed(device_time_us, counts)

    def zero(self) -> str:
        """Take the zero from the last quiet second; return why not, or an empty text when done."""
        if self._second is not None:
            self._second.zero()  # where that hand lies on it the older zero stays
        return self._zero.take()

    def take(self) -> ResolvedSeries | None:
        """Return what is new since the last call, None if nothing."""
        found = [self._block(block) for block in self._grid.take()]
        return joined([series for series in found if series is not None])

    def _block(self, block: GridBlock) -> ResolvedSeries | None:
        if block.fresh:
            self._begin()
            self._restarts += 1
        heard = ~(block.imu_gap | block.imu_rail)
        found = self._tracker.follow(block.moved[:, :3], block.moved[:, 3:], heard)
        wrench, rate = self._filtered(block, found, heard)
        first_zeroed = self._zero.feed(wrench, found.at_home)
        known_from = np.arange(len(wrench))[:, np.newaxis] >= first_zeroed
        zero = np.nan if self._zero.wrench is None else self._zero.wrench
        wrench = np.where(known_from, wrench - zero, np.nan)
        pose = self._tracker.settle(found, lengths(wrench[:, :3]) < self._settings.contact_on_n)
        if self._home_tilt_rad is None and first_zeroed < len(wrench):
            self._home_tilt_rad = self._tilt_rad(pose.humerus_to_base[first_zeroed])
        self.status = LiveStatus(
            zeroed=self._zero.wrench is not None,
            at_home=bool(pose.at_home[-1]),
            heading_age_s=float(pose.heading_age_s[-1]),
            restarts=self._restarts,
            leaned_rad=self._tracker.rests.leaned_rad,
            levelled=self._tracker.rests.levelled,
        )
        return self._resolved(block, pose, wrench, rate)

    def _tilt_rad(self, at_home: Floats) -> float:
        """Return how far the vertical of a pose at home, a quaternion (4,), lies from that of B."""
        up = self._geometry.vertical_in_base
        return float(angle_between(Turns(at_home[np.newaxis]).undo(up), up)[0])

    def _filtered(
        self, block: GridBlock, found: LiveFollowed, heard: Flags
    ) -> tuple[Floats, Floats]:
        """Return the wrench with the shell out and the zero still in, and the angular rate."""
        felt = ~(block.force_gap | block.force_rail)
        pushed = smooth_live(self._push_filter, block.pushed, felt)
        moved = np.hstack([block.moved[:, :3], found.angular_rate_rad_s])
        moved = smooth_live(self._move_filter, moved, heard & found.known)
        rate = moved[:, 3:]
        turning = np.diff(np.concatenate([self._rate_before, rate]), axis=0) * self.fs_hz
        self._rate_before = rate[-1:]
        # The first sample behind a gap has none before it: there the arm is taken as steady.
        turning[np.isnan(turning) & ~np.isnan(rate)] = 0.0
        motion = ShellMotion(moved[:, :3], rate, turning)
        return hand_wrench(pushed, self._geometry, motion), rate

    def _resolved(
        self, block: GridBlock, pose: LiveOrientation, wrench: Floats, rate: Floats
    ) -> ResolvedSeries | None:
        missing, saturated = block.force_gap | block.imu_gap, block.force_rail | block.imu_rail
        # Flags stand behind: a row is missing if it was when it happened or when it came out.
        late = self._late(
            np.column_stack(
                [
                    block.time_s,
                    pose.humerus_to_base,
                    pose.heading_age_s,
                    pose.known & ~block.imu_gap,
                    missing,
                    saturated,
                    pose.at_home,
                    pose.unsettled,
                ]
            )
        )
        if not len(late):
            return None
        now = slice(len(wrench) - len(late), None)
        missing = (late[:, 7] > 0) | missing[now]
        saturated = (late[:, 8] > 0) | saturated[now]
        wrench = np.where((missing | saturated)[:, np.newaxis], np.nan, wrench[now])
        on, self._contact = contact(
            np.linalg.norm(wrench[:, :3], axis=1), self.fs_hz, self._settings, self._contact
        )
        series = resolve(
            Unresolved(
                time_s=late[:, 0],
                wrench=wrench,
                humerus_to_base=late[:, 1:5],
                pose_known=late[:, 6] > 0,
                heading_age_s=late[:, 5],
                angular_rate_rad_s=rate[now],
                missing=missing,
                saturated=saturated,
                contact=on,
            ),
            fs_hz=self.fs_hz,
            target=self._target,
            geometry=self._geometry,
            sources=sources_of(
                self._rig,
                Shown(
                    noise_n=self._zero.noise_n,
                    zero_moved_n=self._zero.moved_n,
                    home_tilt_rad=self._home_tilt_rad or 0.0,
                ),
                heading_drift_rad_s=float(np.deg2rad(self._settings.heading_drift_deg_s)),
            ),
            settings=self._settings,
            passes=1,
            aim=self._aim,
        )
        series = unsettled_where(series, late[:, 10] > 0)
        if self._second is None:
            return series
        return self._second.follow(series, late[:, 9] > 0, self._grid.time_s_of(0.0))


class _Delay:
    """Gives rows out later by a fixed number of rows."""

    def __init__(self, rows: int) -> None:
        self._rows = rows
        self._held: Floats | None = None

    def __call__(self, rows: Floats) -> Floats:
        joined = rows if self._held is None else np.concatenate([self._held, rows])
        ready = max(0, len(joined) - self._rows)
        self._held = joined[ready:]
        return joined[:ready]
