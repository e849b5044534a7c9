"""Makes a recording out of a CSV log of another acquisition system.

The log holds physical units in the sensors' own frames. They are written as counts so fine
that rounding does not matter, with a copy of the rig description that turns these counts back:
from there on everything is as with a rig's own recording. The offsets of the IMU and all
geometry stay as described; the cell's electrical zero is that of another converter and is
dropped, the zero is found at rest as always.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from acquisition.clock import Clock
from acquisition.csv_log import (
    FORCE_COLUMNS,
    INERTIAL_COLUMNS,
    MOMENT_COLUMNS,
    CsvLog,
    parse_mapping,
    read_log,
)
from acquisition.errors import RecordingError
from acquisition.recording import layout
from acquisition.recording.at_once import write_at_once
from acquisition.recording.label import check_label
from acquisition.recording.metadata import clipped, known_beforehand
from acquisition.recording.model import TrialLabel
from acquisition.rig import ImuScales, RigDescription
from firmware_protocol.messages import (
    FORCE_STREAM,
    IMU_STREAM,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    ChannelSpec,
    Identity,
    SampleType,
    StreamSpec,
)
from firmware_protocol.table import fault_of_table

COUNT_RAIL = 2**31 - 1
FORCE_SCALE_N, MOMENT_SCALE_NM = 1e-5, 1e-7
ACCEL_SCALE_M_S2, GYRO_SCALE_RAD_S = 1e-6, 1e-7
"""Per count. A thousandth of good sensors' noise; the rails lie at 21 kN, 215 Nm, 219 g and
12 000 °/s."""
MIN_LINES = 20
MAX_SPAN_S = 30 * 86_400.0


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """What became of a log.

    Attributes:
        path: The recording.
        samples: Lines of the log.
        rate_hz: Usual rate of its lines.
        gaps: How many stretches are missing.
        missing_samples: In them, by the usual rate.
    """

    path: Path
    samples: int
    rate_hz: float
    gaps: int
    missing_samples: int


def bring_in(
    log_path: Path,
    out: Path,
    *,
    rig: RigDescription,
    clock: Clock,
    mapping: Sequence[str] = (),
    label: TrialLabel = TrialLabel(),  # noqa: B008 - frozen
    target_json: str = "",
) -> BroughtIn:
    """Write *log_path* as the new recording *out*.

    Args:
        log_path: The CSV file.
        out: New file.
        rig: What the log was measured with; its calibration matrix is not used.
        clock: Dates the recording.
        mapping: Other names and units of columns, such as ``fx_n=Force_X:kN``.
        label: Who and what.
        target_json: The target to keep with it, empty if none.

    Raises:
        RecordingError: The log is no good, says which line; or *out* cannot be written.
    """
    log = read_log(log_path, parse_mapping(mapping, rig.cell.axes))
    _check_times(log_path, log)
    spacing_s, steps = _steps(np.diff(log.time_s))
    numbers = np.concatenate([[0], np.cumsum(steps)])
    specs = _specs(rig.cell.axes, 1.0 / spacing_s)
    fault = fault_of_table(specs)
    if fault is not None:
        raise RecordingError(
            f"{log_path}: {fault.text}; is time_s in another unit? --map time_s=COLUMN:ms, or :us"
        )
    identity = Identity(1, PROTOCOL_MAJOR, PROTOCOL_MINOR, "brought in", rig.rig.id, 0, specs)
    attributes = known_beforehand(identity, described(rig), target_json, check_label(label), clock)
    attributes["status"] = layout.COMPLETE.encode()
    missing = int((steps - 1).sum())
    tables: dict[layout.TableSpec, NDArray[Any]] = {
        layout.EVENTS: _note(log_path, log, mapping),
        layout.LINK: _accounts(len(log.time_s), missing, len(specs)),
        layout.SYNC: np.empty(0, dtype=layout.SYNC_DTYPE),
    }
    for spec in specs:
        counts_table, blocks_table = layout.stream_tables(spec)
        counts = _counts(log_path, log, spec)
        tables[counts_table] = counts
        tables[blocks_table] = _blocks(log.time_s, numbers, counts)
    write_at_once(out, attributes, tables, specs)
    gaps = int(np.count_nonzero(steps > 1))
    return BroughtIn(out, len(log.time_s), 1.0 / spacing_s, gaps, missing)


def _steps(between_s: NDArray[np.float64]) -> tuple[float, NDArray[np.int64]]:
    """Return the usual time between lines, and how many of it lie between each two.

    The median tells which lines follow each other, their mean the spacing: a clock of few digits
    would otherwise be taken for another rate, and a long gap for so many samples too few.
    """
    median_s = float(np.median(between_s))
    spacing_s = float(between_s[np.rint(between_s / median_s) <= 1].mean())
    return spacing_s, np.maximum(1, np.rint(between_s / spacing_s)).astype(np.int64)


def described(rig: RigDescription) -> RigDescription:
    """Return *rig* with the calibration that fits the counts written here."""
    scales = [FORCE_SCALE_N] * 3 + [MOMENT_SCALE_NM] * 3
    matrix = np.diag(scales[: rig.cell.axes]).tolist()
    cell = msgspec.structs.replace(
        rig.cell, calibration_matrix=tuple(map(tuple, matrix)), zero_counts=()
    )
    imu = msgspec.structs.replace(
        rig.imu, scales=ImuScales(accel_m_s2=ACCEL_SCALE_M_S2, gyro_rad_s=GYRO_SCALE_RAD_S)
    )
    return msgspec.structs.replace(rig, cell=cell, imu=imu)


def _check_times(path: Path, log: CsvLog) -> None:
    if len(log.time_s) < MIN_LINES:
        raise RecordingError(f"{path}: has {len(log.time_s)} lines of data, too few for a trial")
    span_s = log.time_s[-1] - log.time_s[0]
    if not 1e-3 < span_s < MAX_SPAN_S:
        raise RecordingError(
            f"{path}: lasts {span_s:g} s by its times; give their unit, as in --map time_s=t:ms"
        )


def _specs(axes: int, rate_hz: float) -> tuple[StreamSpec, StreamSpec]:
    def channel(name: str) -> ChannelSpec:
        short, unit, scale = name.partition("_")[0], *_unit_of(name)
        return ChannelSpec(short, unit, scale, -COUNT_RAIL, COUNT_RAIL)

    wrench = (*FORCE_COLUMNS, *MOMENT_COLUMNS)[:axes]
    rows = ((1, FORCE_STREAM, wrench), (2, IMU_STREAM, INERTIAL_COLUMNS))
    force, imu = (
        StreamSpec(number, name, SampleType.INT32, rate_hz, tuple(map(channel, columns)))
        for number, name, columns in rows
    )
    return force, imu


def _unit_of(name: str) -> tuple[str, float]:
    return {
        "n": ("N", FORCE_SCALE_N),
        "nm": ("Nm", MOMENT_SCALE_NM),
        "m_s2": ("m/s2", ACCEL_SCALE_M_S2),
        "rad_s": ("rad/s", GYRO_SCALE_RAD_S),
    }[name.partition("_")[2]]


def _counts(path: Path, log: CsvLog, spec: StreamSpec) -> NDArray[np.int32]:
    columns = {name.partition("_")[0]: name for name in log.values}
    names = [columns[channel.name] for channel in spec.channels]
    exact = np.column_stack(
        [log.values[n] / c.scale for n, c in zip(names, spec.channels, strict=True)]
    )
    beyond = np.argwhere(np.abs(exact) >= COUNT_RAIL)
    if len(beyond):
        row, column = beyond[0]
        value = log.values[names[column]][row]
        raise RecordingError(
            f"{path}: line {log.line[row]}: {names[column]} = {value:g} cannot be; "
            "check its unit, --map can name another"
        )
    return np.rint(exact).astype(np.int32)


def _blocks(
    time_s: NDArray[np.float64], numbers: NDArray[np.int64], counts: NDArray[np.int32]
) -> NDArray[np.void]:
    """Return a block for each line: that keeps uneven times as they are."""
    time_us = np.rint((time_s - time_s[0]) * 1e6).astype(np.int64)
    rows = b"".join(
        layout.block_row(
            sample_number=number,
            device_time_us=stamp,
            span_us=0,
            sample_count=1,
            arrival_ns=stamp * 1000,
            segment=0,
            data=row.tobytes(),
        )
        for number, stamp, row in zip(numbers.tolist(), time_us.tolist(), counts, strict=True)
    )
    return np.frombuffer(rows, dtype=layout.BLOCK_DTYPE)


def _accounts(samples: int, missing: int, streams: int) -> NDArray[np.void]:
    link = np.zeros(1, dtype=layout.LINK_DTYPE)
    link["frames"], link["lost_samples"] = samples * streams, missing * streams
    return link


def _note(path: Path, log: CsvLog, mapping: Sequence[str]) -> NDArray[np.void]:
    # Not the log's name: it may be a person's.
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    text = f"brought in from a CSV log of {len(log.time_s)} lines, sha256 {digest}"
    if mapping:
        text += f", read as {' '.join(mapping)}"
    row = (0, 0, b"brought_in", clipped(text, layout.EVENT_TEXT_BYTES))
    return np.array([row], dtype=layout.EVENT_DTYPE)
