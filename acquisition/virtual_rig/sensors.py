"""What the sensors of a rig would read: physics of a right shoulder to raw counts as built.

The order is that of nature: true wrench and motion in the humerus frame of a right shoulder,
mirrored for a left rig (polar vectors z → −z, axial ones x → −x and y → −y; Wu et al. 2005),
turned into the sensor's own frame, disturbed, divided by the sensor's units, rounded and cut
at the rails. This is written apart from `acquisition.physical` on purpose: each checks the
other.

Noise, offsets and rates have ordinary sizes (common practice for strain-gauge amplifiers with
24-bit converters and for MEMS inertial units): see `SensorModel`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.rig import STANDARD_GRAVITY_M_S2, RigDescription
from acquisition.virtual_rig.chance import Purpose, normals, uniforms
from acquisition.virtual_rig.kinematics import ArmMotion
from acquisition.virtual_rig.world import WorldState
from firmware_protocol.messages import (
    FORCE_STREAM,
    IMU_STREAM,
    ChannelSpec,
    SampleType,
    StreamSpec,
)

Floats = NDArray[np.float64]
Counts = NDArray[np.int32]

FORCE_CHANNELS = ("fx", "fy", "fz", "mx", "my", "mz")
IMU_CHANNELS = ("ax", "ay", "az", "gx", "gy", "gz")
_FLIP_POLAR = {"right": np.array([1.0, 1.0, 1.0]), "left": np.array([1.0, 1.0, -1.0])}
_FLIP_AXIAL = {"right": np.array([1.0, 1.0, 1.0]), "left": np.array([-1.0, -1.0, 1.0])}


@dataclass(frozen=True, slots=True)
class SensorModel:
    """How good the sensors are; SDs per sample.

    Attributes:
        force_rate_hz: Of the load cell.
        force_bits: Of its converter; 24 goes over the wire as 32-bit values, 16 as 16-bit.
        force_noise_n: Each force axis, 0.02 % of a 400 N cell.
        moment_noise_nm: Each moment axis.
        zero_offset_n: Zero has moved by up to so much since calibration, each force axis.
        zero_offset_nm: Likewise, each moment axis.
        imu_rate_hz: Nominal, in the stream table.
        imu_rate_error: Its own oscillator is off by this share.
        imu_delay_s: Its first sample comes so long after the load cell's.
        accel_noise_m_s2: 0.15 mg/√Hz over 250 Hz, about.
        gyro_noise_rad_s: 0.006 °/s/√Hz over 250 Hz, about.
        accel_bias_m_s2: Up to so much beyond what the rig description knows; 3 mg.
        gyro_bias_rad_s: Likewise; 0.8 °/s, so 0.5 °/s is usual.
        stabiliser_rate_hz: Of the cell under the stabilising hand, if there is one; it has the
            converter, the noise and the zero offset of the load cell's forces.
    """

    force_rate_hz: float = 1000.0
    force_bits: int = 24
    force_noise_n: float = 0.08
    moment_noise_nm: float = 0.002
    zero_offset_n: float = 3.0
    zero_offset_nm: float = 0.1
    imu_rate_hz: float = 500.0
    imu_rate_error: float = 0.0013
    imu_delay_s: float = 0.0007
    accel_noise_m_s2: float = 0.025
    gyro_noise_rad_s: float = 0.0017
    accel_bias_m_s2: float = 0.03
    gyro_bias_rad_s: float = 0.014
    stabiliser_rate_hz: float = 250.0


def _turned(vectors: Floats, matrix: Floats) -> Floats:
    """Return matrix · v for each row v of *vectors* (n, 3)."""
    turned: Floats = np.einsum("ij,nj->ni", matrix, vectors)
    return turned


def _into_humerus(arm: ArmMotion, vectors: Floats) -> Floats:
    """Return base-frame vectors (n, 3) or (3,) in H, by the transposed pose."""
    wide = np.broadcast_to(vectors, (len(arm.rate_rad_s), 3))
    turned: Floats = np.einsum("nji,nj->ni", arm.humerus_to_base, wide)
    return turned


def specific_force(arm: ArmMotion, point_m: Floats, up_in_base: Floats) -> Floats:
    """Return what an accelerometer at *point_m* of H feels, shape (n, 3), H.

    The centre of rotation is the origin of H and stands still in B, so the point's
    acceleration is ω̇ × r + ω × (ω × r); standing still it feels g upward.
    """
    turning = np.cross(arm.acceleration_rad_s2, point_m)
    inward = np.cross(arm.rate_rad_s, np.cross(arm.rate_rad_s, point_m))
    felt: Floats = turning + inward + STANDARD_GRAVITY_M_S2 * _into_humerus(arm, up_in_base)
    return felt


class LoadCell:
    """Shell and load cell of a rig.

    Args:
        rig: The rig as built.
        model: How good its sensors are.
        seed: Makes noise and offsets.
        who: Code of the person, so that trials of different people differ in noise.
    """

    def __init__(self, rig: RigDescription, model: SensorModel, *, seed: int, who: str) -> None:
        self._flip = (_FLIP_POLAR[rig.rig.side], _FLIP_AXIAL[rig.rig.side])
        self._seed, self._who = seed, who
        self._axes = rig.cell.axes
        self._mass_kg = rig.shell.mass_kg
        polar = self._flip[0]
        self._com_m = np.array(rig.shell.com_m) * polar
        self._origin_m = np.array(rig.cell.origin_m) * polar
        self._head_m = np.array(rig.head.centre_m) * polar
        self._radius_m = rig.head.radius_m
        self._up = np.array(rig.home.vertical_in_base) * polar
        self._humerus_to_cell = np.array(rig.cell.to_humerus).T
        self._counts_per_unit = np.linalg.inv(np.array(rig.cell.calibration_matrix))
        self._noise = np.array([model.force_noise_n] * 3 + [model.moment_noise_nm] * 3)
        limit = np.array([model.zero_offset_n] * 3 + [model.zero_offset_nm] * 3)
        self._offset = limit * _offsets(seed, rig.rig.id, row=0)
        self._zero = np.array(rig.cell.zero_counts or (0.0,) * self._axes)
        self.spec = _force_spec(self._axes, model)

    def counts(self, world: WorldState, first: int) -> Counts:
        """Return counts (n, axes) for samples numbered from *first* on."""
        wrench = self.wrench(world)
        force = _turned(wrench[:, :3] * self._flip[0], self._humerus_to_cell)
        moment = _turned(wrench[:, 3:] * self._flip[1], self._humerus_to_cell)
        noise = normals(
            self._seed,
            Purpose.FORCE_NOISE,
            first=first,
            rows=len(wrench),
            columns=6,
            who=self._who,
        )
        felt = np.hstack([force, moment]) + self._offset + self._noise * noise
        exact = np.einsum("ij,nj->ni", self._counts_per_unit, felt[:, : self._axes]) + self._zero
        return digitised(exact, self.spec)

    def wrench(self, world: WorldState) -> Floats:
        """Return what acts on the cell: force and moment about its origin, (n, 6), H, right.

        The shell hangs between hand and cell: its weight and inertia come in as −m·f. As a
        point mass: the 2·10⁻⁴ kg·m² of a real shell makes 0.4 mN·m at 2 rad/s².
        """
        shell_n = -self._mass_kg * specific_force(world.arm, self._com_m, self._up)
        hand_n = _into_humerus(world.arm, world.force_n)
        contact_m = self._head_m + self._radius_m * _into_humerus(world.arm, world.on_head)
        moment = np.cross(contact_m - self._origin_m, hand_n)
        moment += np.cross(self._com_m - self._origin_m, shell_n)
        return np.hstack([hand_n + shell_n, moment])


class Imu:
    """Inertial unit of a rig; arguments as for `LoadCell`."""

    def __init__(self, rig: RigDescription, model: SensorModel, *, seed: int, who: str) -> None:
        self._flip = (_FLIP_POLAR[rig.rig.side], _FLIP_AXIAL[rig.rig.side])
        self._seed, self._who = seed, who
        self._lever_m = np.array(rig.imu.lever_m) * self._flip[0]
        self._up = np.array(rig.home.vertical_in_base) * self._flip[0]
        self._humerus_to_imu = np.array(rig.imu.to_humerus).T
        scales = rig.imu.scales
        self._scale = np.array([scales.accel_m_s2] * 3 + [scales.gyro_rad_s] * 3)
        known = np.array([*rig.imu.accel_offset_m_s2, *rig.imu.gyro_offset_rad_s])
        limit = np.array([model.accel_bias_m_s2] * 3 + [model.gyro_bias_rad_s] * 3)
        self._offset = known + limit * _offsets(seed, rig.rig.id, row=1)
        self._noise = np.array([model.accel_noise_m_s2] * 3 + [model.gyro_noise_rad_s] * 3)
        self.spec = _imu_spec(rig, model)

    def counts(self, world: WorldState, first: int) -> Counts:
        """Return counts (n, 6) for samples numbered from *first* on."""
        felt = specific_force(world.arm, self._lever_m, self._up) * self._flip[0]
        rate = world.arm.rate_rad_s * self._flip[1]
        noise = normals(
            self._seed, Purpose.IMU_NOISE, first=first, rows=len(felt), columns=6, who=self._who
        )
        read = np.hstack([_turned(felt, self._humerus_to_imu), _turned(rate, self._humerus_to_imu)])
        return digitised((read + self._offset + self._noise * noise) / self._scale, self.spec)


def _offsets(seed: int, rig_id: str, *, row: int) -> Floats:
    """Return six numbers between −1 and 1 that belong to a rig, whoever is at it."""
    unit = uniforms(seed, Purpose.SENSOR_OFFSET, first=row, rows=1, columns=6, who=rig_id)
    offsets: Floats = 2.0 * unit[0] - 1.0
    return offsets


def polar_flip(side: str) -> Floats:
    """Return what turns a right shoulder's polar vectors (…, 3) into those of a side."""
    return _FLIP_POLAR[side]


def digitised(exact: Floats, spec: StreamSpec) -> Counts:
    """Return what a converter makes of exact counts (n, channels): rounded, cut at its rails."""
    low = [channel.count_min for channel in spec.channels]
    high = [channel.count_max for channel in spec.channels]
    return np.clip(np.rint(exact), low, high).astype(np.int32)


def _force_spec(axes: int, model: SensorModel) -> StreamSpec:
    rail = 2 ** (model.force_bits - 1)
    wide = SampleType.INT32 if model.force_bits > 16 else SampleType.INT16
    channels = tuple(
        ChannelSpec(name, "count", 1.0, -rail, rail - 1) for name in FORCE_CHANNELS[:axes]
    )
    return StreamSpec(1, FORCE_STREAM, wide, model.force_rate_hz, channels)


def _imu_spec(rig: RigDescription, model: SensorModel) -> StreamSpec:
    kinds = [("m/s2", rig.imu.scales.accel_m_s2)] * 3 + [("rad/s", rig.imu.scales.gyro_rad_s)] * 3
    channels = tuple(
        ChannelSpec(name, unit, scale, -(2**15), 2**15 - 1)
        for name, (unit, scale) in zip(IMU_CHANNELS, kinds, strict=True)
    )
    return StreamSpec(2, IMU_STREAM, SampleType.INT16, model.imu_rate_hz, channels)
