"""The truth of a virtual rig as a file, for people and programs outside."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, TextIO

import numpy as np
from numpy.typing import NDArray

from acquisition.errors import AcquisitionError
from acquisition.virtual_rig.script import RepetitionPlan
from acquisition.virtual_rig.truth import Truth
from acquisition.virtual_rig.virtual_rig import VirtualRig
from acquisition.virtual_rig.world import Phase

Floats = NDArray[np.float64]

ROWS_PER_PIECE = 4096


def write_truth(
    path: Path, virtual_rig: VirtualRig, *, rate_hz: float = 100.0, until_s: float | None = None
) -> None:
    """Write the truth as a table (``.csv``) or with the repetitions' bounds (``.json``).

    Angles are degrees here, as in every file for people; empty or null without contact.

    Args:
        path: New file; one that exists is left alone.
        virtual_rig: Whose truth.
        rate_hz: Rows per second.
        until_s: Where to end; needed if the trial never ends by itself.

    Raises:
        AcquisitionError: Another suffix, no end, or the file cannot be written.
    """
    writers = {".csv": _write_csv, ".json": _write_json}
    if path.suffix not in writers:
        raise AcquisitionError(f"{path}: truth is written to a .csv or a .json file")
    end_s = virtual_rig.duration_s if until_s is None else until_s
    if math.isinf(end_s):
        raise AcquisitionError(f"{path}: an endless trial has no last row; give it repetitions")
    rows = math.ceil(end_s * rate_hz)
    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            writers[path.suffix](file, virtual_rig, np.arange(rows) / rate_hz)
    except FileExistsError:
        raise AcquisitionError(f"{path}: exists and is left alone; choose another name") from None
    except OSError as cause:
        raise AcquisitionError(f"{path}: cannot be written ({cause.strerror})") from cause


def _write_csv(file: TextIO, virtual_rig: VirtualRig, time_s: Floats) -> None:
    table = csv.writer(file, lineterminator="\n")
    for number, piece in enumerate(_pieces(virtual_rig, time_s)):
        columns = _columns(piece)
        if number == 0:
            table.writerow(columns)
        table.writerows(zip(*columns.values(), strict=True))


def _write_json(file: TextIO, virtual_rig: VirtualRig, time_s: Floats) -> None:
    pieces = [_columns(piece) for piece in _pieces(virtual_rig, time_s)]
    series = {name: [row for piece in pieces for row in piece[name]] for name in pieces[0]}
    plans = virtual_rig.truth(time_s).repetitions
    document = {
        "rig": virtual_rig.rig.rig.id,
        "side": virtual_rig.rig.rig.side,
        "trainee": virtual_rig.trainee.code,
        "fault": virtual_rig.trainee.fault,
        "seed": virtual_rig.seed,
        "plane_deg": virtual_rig.plane_deg,
        "repetitions": [_bounds(plan) for plan in plans],
        "series": series,
    }
    json.dump(document, file, allow_nan=False, indent=1)
    file.write("\n")


def _bounds(plan: RepetitionPlan) -> dict[str, Any]:
    plain = asdict(plan)
    del plain["hand"]
    return {**plain, "top_deg": math.degrees(plain.pop("top_rad"))}


def _pieces(virtual_rig: VirtualRig, time_s: Floats) -> Iterator[Truth]:
    for start in range(0, max(1, len(time_s)), ROWS_PER_PIECE):
        yield virtual_rig.truth(time_s[start : start + ROWS_PER_PIECE])


def _columns(truth: Truth) -> dict[str, list[Any]]:
    fx, fy, fz = np.round(truth.force_n.T, 6)
    numbers = {
        "time_s": truth.time_s,
        "force_x_n": fx,
        "force_y_n": fy,
        "force_z_n": fz,
        "magnitude_n": truth.magnitude_n,
        "azimuth_deg": np.rad2deg(truth.azimuth_rad),
        "superior_angle_deg": np.rad2deg(truth.superior_angle_rad),
        "elevation_deg": np.rad2deg(truth.elevation_rad),
        "plane_deg": np.rad2deg(truth.plane_rad),
        "elevation_speed_deg_s": np.rad2deg(truth.elevation_speed_rad_s),
        "stabilising_n": truth.stabilising_n,
    }
    columns: dict[str, list[Any]] = {
        name: [None if math.isnan(value) else round(value, 6) for value in values.tolist()]
        for name, values in numbers.items()
    }
    columns["contact"] = [int(on) for on in truth.contact]
    columns["phase"] = [Phase(value).name.lower() for value in truth.phase]
    columns["repetition"] = truth.repetition.tolist()
    return columns
