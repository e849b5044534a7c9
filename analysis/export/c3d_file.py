"""A trial as a C3D file: force and flags as analogue channels, angles as points, phases as events.

C3D counts frames in 16 bits, so points are thinned: they come at a tenth of the rate of the grid
or less, analogue channels at the whole. The format has no "not known" for analogue values: the
channel *Known* is 0 where all others mean nothing. Points that are not known have the residual
-1, which is the format's own word for it. Angle points stand in POINT:ANGLES, in degrees.

Source: The C3D file format: a technical user guide (Motion Lab Systems), from memory; checked
by reading files back with a reader that shares no code with the writer.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.software import software
from analysis.errors import ExportError
from analysis.export.phase_events import phase_events
from analysis.series import ResolvedSeries
from analysis.trial import Trial

Floats = NDArray[np.float64]

THINNINGS = (10, 20, 50, 100)
"""Samples of the grid in a frame."""
MOST_FRAMES = 65_535
ANALOG = ("Force.X", "Force.Y", "Force.Z", "Known", "Contact", "Directed")
ANALOG_UNITS = ("N", "N", "N", "", "", "")
POINTS = ("PushAngles", "ArmAngles")
POINT_MEANINGS = (
    "azimuth, superior angle, off-axis angle of the push, degrees",
    "elevation, plane of elevation (degrees), speed of elevation (degrees/s)",
)


def write_c3d(trial: Trial, path: Path) -> None:
    """Write a trial; there whole or not at all.

    Args:
        trial: The trial.
        path: Of the file; what was there before is replaced.

    Raises:
        ExportError: The trial is too long for the format, or the library is not installed.
        OSError: It cannot be written.
    """
    try:
        import ezc3d
    except ImportError as cause:
        raise ExportError("C3D needs ezc3d: install perpend with its extra [c3d]") from cause
    series = trial.series
    thinning = _thinning(len(series), path)
    file = ezc3d.c3d()
    _describe(file, trial)
    _add_points(file, series, thinning)
    _add_analog(file, series, thinning)
    _add_events(file, trial)
    part = path.with_name(f"{path.stem}.part.c3d")  # the library insists on the suffix
    try:
        file.write(str(part))
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _thinning(samples: int, path: Path) -> int:
    for thinning in THINNINGS:
        if -(-samples // thinning) <= MOST_FRAMES:
            return thinning
    raise ExportError(
        f"{path}: {samples} samples are more than C3D can number; export series or measures"
    )


def _describe(file: Any, trial: Trial) -> None:
    facts, target = trial.recording, trial.target
    file.add_parameter("SUBJECTS", "USED", [1])
    file.add_parameter("SUBJECTS", "NAMES", [facts["person"] or "unknown"])
    file.add_parameter("MANUFACTURER", "SOFTWARE", [software()])
    file.add_parameter("PUSH", "SIDE", [facts["side"]])
    file.add_parameter("PUSH", "AXES", ["X anterior, Y superior, Z lateral; left mirrored"])
    file.add_parameter("PUSH", "TARGET_AZIMUTH", [float(target.glide_azimuth_deg)])
    file.add_parameter("PUSH", "TARGET_INFERIOR_TILT", [float(target.inferior_tilt_deg)])
    file.add_parameter("PUSH", "RECORDING", [facts["uuid"]])


def _add_points(file: Any, series: ResolvedSeries, thinning: int) -> None:
    points = file["parameters"]["POINT"]
    points["RATE"]["value"] = [series.fs_hz / thinning]
    points["LABELS"]["value"] = list(POINTS)
    points["DESCRIPTIONS"]["value"] = list(POINT_MEANINGS)
    points["UNITS"]["value"] = ["deg"]
    file.add_parameter("POINT", "ANGLES", list(POINTS))
    push = np.stack([series.azimuth_rad, series.superior_angle_rad, series.off_axis_rad])
    push[:, ~series.directed] = np.nan
    arm = np.stack([series.elevation_rad, series.plane_rad, series.elevation_speed_rad_s])
    arm[1] = np.nan_to_num(arm[1])  # not defined near 0 elevation, where the rest is known
    angles = np.rad2deg(np.stack([push, arm], axis=1))[:, :, ::thinning]
    known = np.isfinite(angles).all(axis=0)
    values = np.ones((4, *angles.shape[1:]))
    values[:3] = np.where(known, angles, np.nan)
    file["data"]["points"] = values
    file["data"]["meta_points"]["residuals"] = np.where(known, 0.0, -1.0)[np.newaxis]


def _add_analog(file: Any, series: ResolvedSeries, thinning: int) -> None:
    analog = file["parameters"]["ANALOG"]
    analog["RATE"]["value"] = [series.fs_hz]
    analog["LABELS"]["value"] = list(ANALOG)
    analog["UNITS"]["value"] = list(ANALOG_UNITS)
    known = np.isfinite(series.force_n).all(axis=1)
    force = np.where(known, series.force_n.T, 0.0)
    values = np.stack([*force, *(flag * 1.0 for flag in (known, series.contact, series.directed))])
    frames = -(-len(series) // thinning)
    padded = np.zeros((1, len(ANALOG), frames * thinning))  # the last frame may want samples
    padded[0, :, : len(series)] = values
    file["data"]["analogs"] = padded


def _add_events(file: Any, trial: Trial) -> None:
    events = list(phase_events(trial))
    if not events:
        return
    file.add_parameter("EVENT", "USED", [len(events)])
    file.add_parameter("EVENT", "CONTEXTS", ["General"] * len(events))
    file.add_parameter("EVENT", "LABELS", [event.phase for event in events])
    file.add_parameter(
        "EVENT", "DESCRIPTIONS", [f"repetition {event.repetition}" for event in events]
    )
    # Minutes and seconds, as the format has it.
    times = np.array([divmod(event.onset_s, 60.0) for event in events]).T
    file.add_parameter("EVENT", "TIMES", times)
