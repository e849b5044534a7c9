"""Counts to physical units, in the humerus frame of a right shoulder.

This is the border where physical units appear, and the only place that knows sides: a left
rig is mirrored here in Z (polar vectors z → −z; angular velocity and moments x → −x, y → −y),
as the ISB recommendation does it (Wu et al. 2005, J Biomech 38:981). Everything downstream
sees a right shoulder, and Z is lateral.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.rig import Matrix3, RigDescription
from firmware_protocol.messages import StreamSpec

Floats = NDArray[np.float64]
Counts = NDArray[np.integer]
Flags = NDArray[np.bool_]

_POLAR_MIRROR = np.array([1.0, 1.0, -1.0])
_AXIAL_MIRROR = np.array([-1.0, -1.0, 1.0])
TURNED_AT_ONCE = 4096


@dataclass(frozen=True, slots=True)
class WrenchSamples:
    """What the load cell says, before the shell's weight is taken out.

    Attributes:
        force_n: Shape (n, 3), H of a right shoulder, sign of the hand's push on the humerus.
        moment_nm: Shape (n, 3) about `Geometry.cell_origin_m`, or None with three axes.
        saturated: Shape (n,), a channel stands at a rail of its converter.
    """

    force_n: Floats
    moment_nm: Floats | None
    saturated: Flags


@dataclass(frozen=True, slots=True)
class StabiliserSamples:
    """What the cell under the stabilising hand says.

    Attributes:
        force_n: Shape (n, 3), B of a right shoulder, the hand's push on the block; the zero that
            moved since calibration is still in.
        saturated: Shape (n,).
    """

    force_n: Floats
    saturated: Flags


@dataclass(frozen=True, slots=True)
class InertialSamples:
    """What the IMU says.

    Attributes:
        specific_force_m_s2: Shape (n, 3), H of a right shoulder: +g upward at rest.
        angular_rate_rad_s: Shape (n, 3), likewise.
        saturated: Shape (n,).
    """

    specific_force_m_s2: Floats
    angular_rate_rad_s: Floats
    saturated: Flags


@dataclass(frozen=True, slots=True)
class Geometry:
    """Where things are, in H of a right shoulder (metres), and the shell's mass.

    *imu_m*, *com_m*, *cell_origin_m*, *head_centre_m* have shape (3,); *vertical_in_base* is
    the unit vector up in the base frame B.
    """

    imu_m: Floats
    com_m: Floats
    cell_origin_m: Floats
    head_centre_m: Floats
    head_radius_m: float
    mass_kg: float
    vertical_in_base: Floats


def mirror_if_left(vectors: Floats, side: str, *, axial: bool = False) -> Floats:
    """Return *vectors* (…, 3) as a right shoulder would have them.

    Args:
        vectors: In any frame whose Z points to the right.
        side: ``right`` (unchanged) or ``left``.
        axial: True for angular velocities and moments, False for everything else.
    """
    if side == "right":
        return vectors
    mirrored: Floats = vectors * (_AXIAL_MIRROR if axial else _POLAR_MIRROR)
    return mirrored


class PhysicalUnits:
    """Turns raw counts of one rig into physical units; the same for live and offline.

    Attributes:
        stabiliser_stream: Name of the stream of the stabilising hand's cell, None without one.
    """

    def __init__(self, rig: RigDescription) -> None:
        self._side = rig.rig.side
        self._axes = rig.cell.axes
        self._zero = np.asarray(rig.cell.zero_counts or (0.0,) * self._axes)
        # Calibration, rotation and mirror in one: an hour of samples is multiplied once.
        turn = np.zeros((6, 6))
        turn[:3, :3] = _turn(rig.cell.to_humerus, self._side, axial=False)
        turn[3:, 3:] = _turn(rig.cell.to_humerus, self._side, axial=True)
        matrix = np.asarray(rig.cell.calibration_matrix, dtype=np.float64)
        self._counts_to_wrench = matrix.T @ turn[: self._axes, : self._axes]
        self._accel_turn = _turn(rig.imu.to_humerus, self._side, axial=False)
        self._gyro_turn = _turn(rig.imu.to_humerus, self._side, axial=True)
        self._imu = rig.imu
        self._second = rig.stabiliser
        self.stabiliser_stream = rig.stabiliser.stream if rig.stabiliser else None

    def wrench(self, counts: Counts, spec: StreamSpec) -> WrenchSamples:
        """Apply w = C·(n − n0), turn into H, mirror if left.

        Args:
            counts: Shape (n, axes), raw.
            spec: The stream as the rig described it, for the rails.

        Raises:
            ValueError: The stream has not as many channels as the cell has axes.
        """
        if counts.shape[1] != self._axes:
            raise ValueError(
                f"stream {spec.name!r} has {counts.shape[1]} channels, "
                f"the rig description says axes = {self._axes}"
            )
        columns = _columns(counts)
        columns -= self._zero[:, np.newaxis]
        wrench = _times(columns, self._counts_to_wrench)
        moment = wrench[:, 3:] if self._axes == 6 else None
        return WrenchSamples(wrench[:, :3], moment, at_rails(counts, spec))

    def inertial(self, counts: Counts, spec: StreamSpec) -> InertialSamples:
        """Scale, take off the known offsets, turn into H, mirror if left.

        Args:
            counts: Shape (n, 6): ax ay az gx gy gz, raw.
            spec: The stream as the rig described it, for the rails.
        """
        scales, imu = self._imu.scales, self._imu
        accel, gyro = np.split(_columns(counts), 2)
        accel *= scales.accel_m_s2
        accel -= np.asarray(imu.accel_offset_m_s2)[:, np.newaxis]
        gyro *= scales.gyro_rad_s
        gyro -= np.asarray(imu.gyro_offset_rad_s)[:, np.newaxis]
        return InertialSamples(
            _times(accel, self._accel_turn),
            _times(gyro, self._gyro_turn),
            at_rails(counts, spec),
        )

    def stabiliser(self, counts: Counts, spec: StreamSpec) -> StabiliserSamples:
        """Apply F = C·(n − n0), turn into B, mirror if left.

        Args:
            counts: Shape (n, 3), raw.
            spec: The stream as the rig described it, for the rails.

        Raises:
            ValueError: The rig description knows no such cell, or the channels are not three.
        """
        cell = self._second
        if cell is None or counts.shape[1] != 3:
            raise ValueError(f"stream {spec.name!r} is no cell of three axes by the description")
        matrix = np.asarray(cell.calibration_matrix, dtype=np.float64)
        zero = np.asarray(cell.zero_counts or (0.0, 0.0, 0.0))
        turn = _turn(cell.to_base, self._side, axial=False)
        force = _times(_columns(counts) - zero[:, np.newaxis], matrix.T @ turn)
        return StabiliserSamples(force, at_rails(counts, spec))


def _turn(rotation: Matrix3, side: str, *, axial: bool) -> Floats:
    """Return the matrix (3, 3) by which rows in a sensor's frame are multiplied to be turned."""
    return mirror_if_left(np.asarray(rotation, dtype=np.float64).T, side, axial=axial)


def _columns(counts: Counts) -> Floats:
    """Return counts (n, channels) as numbers (channels, n), each channel in one piece."""
    return np.ascontiguousarray(counts.T, dtype=np.float64)


def _times(columns: Floats, matrix: Floats) -> Floats:
    """Return each row of *columns*.T times a matrix, the same bits in whatever pieces.

    The threads of the linear algebra cut long arrays by the number of cores, and the last digits
    change with the cut. Each component of the result lies in one piece of memory.
    """
    return np.asarray(np.einsum("jk,jn->kn", matrix, columns), dtype=np.float64).T


def at_rails(counts: Counts, spec: StreamSpec) -> Flags:
    """Tell which rows (n,) hold a count at or beyond a rail of its converter."""
    highest_low = max(channel.count_min for channel in spec.channels)
    lowest_high = min(channel.count_max for channel in spec.channels)
    if len(counts) and highest_low < counts.min() and counts.max() < lowest_high:
        return np.zeros(len(counts), dtype=np.bool_)  # nearly always, and at a glance
    low = np.array([channel.count_min for channel in spec.channels])
    high = np.array([channel.count_max for channel in spec.channels])
    outside: Flags = (counts <= low) | (counts >= high)
    return np.asarray(outside.any(axis=1), dtype=np.bool_)


def right_shoulder_geometry(rig: RigDescription) -> Geometry:
    """Return where things are, mirrored if the rig is a left one."""

    def point(values: tuple[float, float, float]) -> Floats:
        return mirror_if_left(np.asarray(values, dtype=np.float64), rig.rig.side)

    return Geometry(
        imu_m=point(rig.imu.lever_m),
        com_m=point(rig.shell.com_m),
        cell_origin_m=point(rig.cell.origin_m),
        head_centre_m=point(rig.head.centre_m),
        head_radius_m=rig.head.radius_m,
        mass_kg=rig.shell.mass_kg,
        vertical_in_base=point(rig.home.vertical_in_base),
    )
