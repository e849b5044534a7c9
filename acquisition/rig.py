"""The rig description: what the wire cannot say about the thing on the bench.

A TOML file holds it, a recording carries it along. Geometry stands in the humerus frame H
*as built*, with Z to the right also on a left rig; `physical` mirrors it once. H has its
origin at the centre of rotation of the arm and coincides with the base frame at home.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
import numpy as np
from msgspec import Meta

from acquisition.errors import DescriptionError
from acquisition.toml_records import parse_toml, read_toml, to_record, toml_text
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM
from firmware_protocol.table import SERIAL_RULE, is_serial

Vector = tuple[float, float, float]
Matrix3 = tuple[Vector, Vector, Vector]
Positive = Annotated[float, Meta(gt=0)]
NotNegative = Annotated[float, Meta(ge=0)]

ORTHONORMAL_TOLERANCE = 1e-3
"""Rotations typed by hand carry three digits or so; beyond this it is a mistake."""
COVARIANCE_TOLERANCE = 1e-3
"""As a share of its largest number: what three digits leave of symmetry."""
STANDARD_GRAVITY_M_S2 = 9.80665


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A table of the file: a misspelt key is an error, not a default."""


class RigIdentity(_Table, frozen=True, kw_only=True):
    """``[rig]``. *id* should equal the serial the rig gives on the wire."""

    id: str
    side: Literal["right", "left"]

    def __post_init__(self) -> None:
        if not is_serial(self.id):
            raise ValueError(f"rig.id is {self.id!r}; a serial is {SERIAL_RULE}")


class CellDescription(_Table, frozen=True, kw_only=True):
    """``[cell]``, the load cell.

    Attributes:
        axes: 3 (forces) or 6 (forces and moments).
        to_humerus: Rotation rows; takes a cell-frame vector to H.
        calibration_matrix: axes × axes, newtons (rows 1-3) and newton metres (4-6) per count.
        zero_counts: Electrical zero, one per channel.
        origin_m: Where moments are taken about, in H.
        force_u_n: Standard uncertainty of one force component from calibration, at any force.
        force_covariance_n2: Covariance of the three force components from calibration, newtons
            squared, in the cell's own frame, if known; it takes the place of *force_u_n*.
        force_relative_u: Standard uncertainty of each coefficient of the calibration, as a share
            of the force: what grows with it, gain and crosstalk.
        calibrated_on: Date of the calibration, if known.
        calibrated_to_n: Largest force it was calibrated with, if known.
        noise_n: Of each force component in the cell's frame, if known: standard deviation of
            its samples within a quarter of a second while nobody touches, at the rate streamed.
    """

    axes: Literal[3, 6]
    to_humerus: Matrix3
    calibration_matrix: tuple[tuple[float, ...], ...]
    zero_counts: tuple[float, ...] = ()
    origin_m: Vector = (0.0, 0.0, 0.0)
    force_u_n: NotNegative = 0.2
    force_covariance_n2: Matrix3 | None = None
    force_relative_u: Annotated[float, Meta(ge=0, lt=1)] = 0.0
    calibrated_on: date | None = None
    calibrated_to_n: Positive | None = None
    noise_n: tuple[Positive, Positive, Positive] | None = None

    def __post_init__(self) -> None:
        _check_rotation(self.to_humerus, "cell.to_humerus")
        _check_square(self.calibration_matrix, self.axes, "cell.calibration_matrix")
        if len(self.zero_counts) not in (0, self.axes):
            raise ValueError(f"cell.zero_counts needs {self.axes} numbers, one per channel")
        if self.force_covariance_n2 is not None:
            _check_covariance(self.force_covariance_n2, "cell.force_covariance_n2")


class ImuScales(_Table, frozen=True, kw_only=True):
    """``[imu.scales]``: physical units per count."""

    accel_m_s2: Positive
    gyro_rad_s: Positive


class ImuDescription(_Table, frozen=True, kw_only=True):
    """``[imu]``.

    Attributes:
        to_humerus: Rotation rows; takes an IMU-frame vector to H.
        lever_m: Position of the IMU in H.
        scales: Units per count.
        accel_offset_m_s2: What it reads too much, IMU frame.
        gyro_offset_rad_s: Likewise; the orientation filter finds the rest by itself.
    """

    to_humerus: Matrix3
    lever_m: Vector
    scales: ImuScales
    accel_offset_m_s2: Vector = (0.0, 0.0, 0.0)
    gyro_offset_rad_s: Vector = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        _check_rotation(self.to_humerus, "imu.to_humerus")


class ShellDescription(_Table, frozen=True, kw_only=True):
    """``[shell]``: what the cell carries between itself and the hand."""

    mass_kg: NotNegative
    com_m: Vector


class HeadDescription(_Table, frozen=True, kw_only=True):
    """``[head]``: the sphere the hand presses, in H."""

    centre_m: Vector
    radius_m: Positive


class StabiliserDescription(_Table, frozen=True, kw_only=True):
    """``[stabiliser]``: a second load cell, under the hand that steadies the scapula block.

    It is fixed in the base frame: no shell moves with an arm, and nothing of its weight turns.

    Attributes:
        stream: Name of its stream, as the rig gives it; three force channels.
        to_base: Rotation rows; takes a vector from the cell's frame to B.
        calibration_matrix: 3 × 3, newtons per count; the sign is the push of the hand.
        zero_counts: Electrical zero, one per channel.
        calibrated_on: Date of the calibration, if known.
    """

    stream: Annotated[str, Meta(min_length=1)] = "stabiliser"
    to_base: Matrix3
    calibration_matrix: tuple[tuple[float, ...], ...]
    zero_counts: tuple[float, ...] = ()
    calibrated_on: date | None = None

    def __post_init__(self) -> None:
        _check_rotation(self.to_base, "stabiliser.to_base")
        _check_square(self.calibration_matrix, 3, "stabiliser.calibration_matrix")
        if len(self.zero_counts) not in (0, 3):
            raise ValueError("stabiliser.zero_counts needs 3 numbers, one per channel")
        if self.stream in (FORCE_STREAM, IMU_STREAM):
            raise ValueError(f"stabiliser.stream {self.stream!r} is taken by the humerus")


class HomeDescription(_Table, frozen=True, kw_only=True):
    """``[home]``: the pose of the hanging arm against its stop.

    Attributes:
        vertical_in_base: Which way is up, in the base frame; not (0, 1, 0) on a sloping bench.
        tolerance_deg: How far a rest may lie from home and still count as home.
    """

    vertical_in_base: Vector = (0.0, 1.0, 0.0)
    tolerance_deg: Positive = 5.0

    def __post_init__(self) -> None:
        if abs(np.linalg.norm(self.vertical_in_base) - 1.0) > ORTHONORMAL_TOLERANCE:
            raise ValueError("home.vertical_in_base must have length 1")


class UncertaintyDescription(_Table, frozen=True, kw_only=True):
    """``[uncertainty]``: standard uncertainties that no single recording can show.

    Defaults are our own estimates for a carefully built rig, to be replaced by its certificate.
    """

    inclination_deg: NotNegative = 0.4
    heading_deg: NotNegative = 0.8
    mounting_deg: NotNegative = 0.3
    mass_kg: NotNegative = 0.002


class RigDescription(_Table, frozen=True, kw_only=True):
    """The whole file. Lengths in metres, masses in kilograms."""

    rig: RigIdentity
    cell: CellDescription
    imu: ImuDescription
    shell: ShellDescription
    head: HeadDescription
    home: HomeDescription = HomeDescription()
    uncertainty: UncertaintyDescription = UncertaintyDescription()
    stabiliser: StabiliserDescription | None = None

    def to_json(self) -> str:
        """Return the description as JSON: same description, same text."""
        return json.dumps(msgspec.to_builtins(self), sort_keys=True)

    def to_toml(self) -> str:
        """Return the description as a TOML file holds it."""
        return toml_text(msgspec.to_builtins(self, builtin_types=(date,)))


def load_rig(path: Path | str) -> RigDescription:
    """Read a rig description from a TOML file.

    Raises:
        DescriptionError: The file is missing or broken, or a key is wrong; one line says which.
    """
    data = read_toml(Path(path), DescriptionError)
    return to_record(data, RigDescription, where=path, error=DescriptionError)


def rig_from_toml(text: str, *, where: object) -> RigDescription:
    """Read a rig description from the text of a TOML file.

    Raises:
        DescriptionError: As `load_rig`.
    """
    data = parse_toml(text, where=where, error=DescriptionError)
    return to_record(data, RigDescription, where=where, error=DescriptionError)


def rig_from_json(text: str, *, where: object) -> RigDescription:
    """Read back what `RigDescription.to_json` gave.

    Raises:
        DescriptionError: The text is not such a description.
    """
    try:
        data: Any = json.loads(text)
    except json.JSONDecodeError as cause:
        raise DescriptionError(f"{where}: rig description is not JSON: {cause}") from cause
    return to_record(data, RigDescription, where=where, error=DescriptionError)


def _check_rotation(rows: Matrix3, key: str) -> None:
    matrix = np.asarray(rows)
    off = float(np.abs(matrix @ matrix.T - np.eye(3)).max())
    if off > ORTHONORMAL_TOLERANCE or np.linalg.det(matrix) < 0:
        raise ValueError(f"{key} is no rotation: rows must be unit, orthogonal, right-handed")


def _check_square(rows: tuple[tuple[float, ...], ...], axes: int, key: str) -> None:
    if len(rows) != axes or any(len(row) != axes for row in rows):
        raise ValueError(f"{key} must be {axes} rows of {axes} numbers")
    matrix = np.asarray(rows)
    if not np.isfinite(matrix).all() or np.linalg.matrix_rank(matrix) < axes:
        raise ValueError(f"{key} cannot be inverted: check its rows")


def _check_covariance(rows: Matrix3, key: str) -> None:
    matrix = np.asarray(rows)
    size = float(np.abs(matrix).max())
    if not np.isfinite(size) or np.abs(matrix - matrix.T).max() > COVARIANCE_TOLERANCE * size:
        raise ValueError(f"{key} is no covariance: row i, column j must equal row j, column i")
    if np.linalg.eigvalsh(matrix)[0] < -COVARIANCE_TOLERANCE * size:
        raise ValueError(
            f"{key} is no covariance: along some direction its variance is negative; check the "
            "numbers beside the diagonal"
        )
