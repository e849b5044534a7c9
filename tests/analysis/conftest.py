"""Recordings of the virtual rig, made in memory, with the truth beside them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import msgspec
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from acquisition.recording.model import Recording, StreamData, TrialLabel
from acquisition.rig import RigDescription
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from analysis.resolve import push_angles
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.uncertainty import Shown, sources_of
from firmware_protocol.messages import IMU_STREAM, Identity

CLOCK_OFFSET_US = 5_000_000


@dataclass(frozen=True)
class Told:
    """A recording and the rig that knows how it really was."""

    recording: Recording
    rig: VirtualRig
    options: dict[str, Any] = field(default_factory=dict)

    def at(self, description: RigDescription) -> VirtualRig:
        """Return the same trial at another rig."""
        return VirtualRig(description, self.rig.trainee, **self.options)


def recording_of(rig: VirtualRig) -> Recording:
    """Return what an undisturbed line would bring of a whole trial."""
    streams = {}
    for stream in rig.streams:
        count = int(stream.sample_count)
        time_us = np.round(stream.time_s(0, count) * 1e6).astype(np.int64) + CLOCK_OFFSET_US
        streams[stream.spec.name] = StreamData(
            spec=stream.spec,
            sample_number=np.arange(count, dtype=np.int64),
            device_time_us=time_us,
            counts=stream.counts(0, count).astype(np.int32),
            segment=np.zeros(count, dtype=np.int64),
            arrival_ns=time_us * 1000,
        )
    specs = tuple(stream.spec for stream in rig.streams)
    return Recording(
        source=None,
        uuid="00000000-0000-4000-8000-000000000001",
        started_utc="2026-01-01T00:00:00Z",
        started_ns=0,
        status="complete",
        software="test",
        identity=Identity(1, 1, 0, "virtual", rig.rig.rig.id, 1, specs),
        rig=rig.rig,
        target_json="",
        label=TrialLabel(person=rig.trainee.code),
        streams=streams,
    )


@pytest.fixture(scope="session")
def made_recording() -> Callable[[VirtualRig], Recording]:
    """Return `recording_of`, for a rig that something happens to."""
    return recording_of


@pytest.fixture(scope="session")
def told() -> Callable[..., Told]:
    """Return a maker of recordings: side, axes, person, seed, and options of the virtual rig."""
    made: dict[str, Told] = {}

    def make(
        side: str = "right",
        axes: int = 3,
        person: str = "E01",
        *,
        stabiliser: bool = False,
        **options: float,
    ) -> Told:
        key = repr((side, axes, person, stabiliser, sorted(options.items())))
        if key not in made:
            description = default_rig(side, axes, stabiliser=stabiliser)
            rig = VirtualRig(description, trainee(person), **options)  # type: ignore[arg-type]  # options by name, as a test needs them
            made[key] = Told(recording_of(rig), rig, options)
        return made[key]

    return make


BUMP_S = 0.2
"""How long a bump takes."""


def leant(
    made: Told, moves: Sequence[tuple[float, NDArray[np.float64]]], turned_deg: float = 0.0
) -> Told:
    """Return the same trial at a rig that is bumped.

    Args:
        made: A trial at a right rig that stands still.
        moves: When the rig begins to lean, seconds of its clock, and the vertical in B from then
            on, (3,), in order.
        turned_deg: By how much each move turns it about the vertical as well.
    """
    rig, streams = made.rig, dict(made.recording.streams)
    before = np.array(rig.rig.home.vertical_in_base)
    for at_s, up in moves:
        home = msgspec.structs.replace(rig.rig.home, vertical_in_base=tuple(up.tolist()))
        other = made.at(msgspec.structs.replace(rig.rig, home=home))
        # The vertical turns one way in B, so the base turns the other way.
        lean = -Rotation.align_vectors([up], [before])[0].as_rotvec()
        turn = (lean + np.deg2rad(turned_deg) * up) / BUMP_S
        for stream in other.streams:
            now = streams[stream.spec.name]
            time_s = stream.time_s(0, len(now.counts))
            late = (time_s >= at_s)[:, np.newaxis]
            counts = np.where(late, stream.counts(0, len(time_s)), now.counts)
            if stream.spec.name == IMU_STREAM:
                during = (time_s >= at_s) & (time_s < at_s + BUMP_S)
                pose = rig.truth(time_s[during]).humerus_to_base
                felt = np.einsum("nji,j->ni", pose, turn) @ np.array(rig.rig.imu.to_humerus)
                counts[during, 3:] += np.rint(felt / stream.spec.channels[3].scale).astype(np.int32)
            streams[stream.spec.name] = replace(now, counts=counts.astype(np.int32))
        before = up
    return Told(replace(made.recording, streams=streams), rig, made.options)


@pytest.fixture(scope="session")
def bumped() -> Callable[..., Told]:
    """Return `leant`."""
    return leant


FS_HZ = 200.0


def minimum_jerk(count: int) -> NDArray[np.float64]:
    """Return a minimum-jerk way from 0 to 1 (Flash & Hogan 1985)."""
    tau = np.linspace(0.0, 1.0, count)
    return np.asarray(10 * tau**3 - 15 * tau**4 + 6 * tau**5)


def series_of(
    elevation_deg: NDArray[np.float64],
    force_n: NDArray[np.float64] | None = None,
    target: Target | None = None,
) -> ResolvedSeries:
    """Return a series with a given elevation (n,) and push in B (n, 3), 40 N on target if none."""
    count = len(elevation_deg)
    direction = (target or Target()).direction
    push = np.tile(40.0 * direction, (count, 1)) if force_n is None else force_n
    angles = push_angles(push, direction)
    size = np.linalg.norm(push, axis=1)
    nothing = np.zeros(count, dtype=np.bool_)
    one = np.full(count, np.deg2rad(0.7))
    on = np.asarray(size > 5.0)
    speed = np.gradient(np.deg2rad(elevation_deg)) * FS_HZ
    return ResolvedSeries(
        fs_hz=FS_HZ,
        time_s=np.arange(count) / FS_HZ,
        force_n=push,
        glide_n=angles.glide_n,
        azimuth_rad=angles.azimuth_rad,
        superior_angle_rad=angles.superior_angle_rad,
        off_axis_rad=angles.off_axis_rad,
        azimuth_u_rad=one,
        superior_angle_u_rad=one,
        off_axis_u_rad=one,
        elevation_rad=np.deg2rad(elevation_deg),
        plane_rad=np.full(count, 0.5),
        elevation_speed_rad_s=speed,
        missing=nothing,
        saturated=nothing,
        contact=on,
        directed=on,
        heading_age_s=np.zeros(count),
        sources=sources_of(default_rig(), Shown(noise_n=0.03), heading_drift_rad_s=0.0),
    )


@pytest.fixture(scope="session")
def series() -> Callable[..., ResolvedSeries]:
    """Return `series_of`."""
    return series_of


@pytest.fixture(scope="session")
def lift() -> Callable[..., NDArray[np.float64]]:
    """Return a maker of elevations: rest, up, top, down, rest."""

    def make(
        top_deg: float = 150.0,
        up_s: float = 6.0,
        top_s: float = 1.0,
        down_s: float = 6.0,
        rest_s: float = 2.0,
    ) -> NDArray[np.float64]:
        rest = np.zeros(int(rest_s * FS_HZ))
        up = top_deg * minimum_jerk(int(up_s * FS_HZ))
        down = top_deg * minimum_jerk(int(down_s * FS_HZ))[::-1]
        return np.concatenate([rest, up, np.full(int(top_s * FS_HZ), top_deg), down, rest])

    return make
