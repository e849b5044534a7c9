"""A recording to a trial: the whole offline way in one place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import Geometry, right_shoulder_geometry
from acquisition.recording.model import Recording
from analysis.cutoff import ResidualCurve, liveliest, residual_analysis
from analysis.filters import LowPass, slope_of_part, smooth_in_place
from analysis.measures import measure_repetitions
from analysis.orientation import Orientation, follow, settle
from analysis.practice import practice_told, with_practice
from analysis.quality import Evidence, assess, effective_rate_hz
from analysis.repetitions import find_repetitions
from analysis.resolve import ContactState, Unresolved, contact, resolve
from analysis.runs import parts_of, without_short_gaps
from analysis.series import ResolvedSeries, read_only, unsettled_where
from analysis.settings import AnalysisSettings
from analysis.shell import ShellMotion, hand_wrench
from analysis.short_returns import short_returns
from analysis.stabiliser import StabilisingHand, stabilising_hand
from analysis.stop_drill import stop_drills
from analysis.target import Target, target_from_json
from analysis.timebase import Grid, even_samples
from analysis.trial import Trial
from analysis.uncertainty import Shown, sources_of
from analysis.vectors import lengths
from analysis.zero import Zero, find_zero, marked_windows

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def analyse(
    recording: Recording,
    target: Target | None = None,
    settings: AnalysisSettings | None = None,
    *,
    compensate: bool = True,
) -> Trial:
    """Resolve a recording, cut it into repetitions and measure them.

    Args:
        recording: What the wire said.
        target: What to measure against; None takes the one recorded with it.
        settings: Parameters; None takes the defaults.
        compensate: False leaves the shell's weight in; only to show what that does.

    Raises:
        NotAnalysable: The recording cannot support it; the text says why.
        TargetError: The recorded target makes no sense.
    """
    where = recording.source or recording.uuid
    target = target or target_from_json(recording.target_json, where=where)
    settings = settings or AnalysisSettings()
    grid, pushed, moved = even_samples(recording, settings)
    geometry = right_shoulder_geometry(recording.rig)
    tolerance = np.deg2rad(recording.rig.home.tolerance_deg)
    found = follow(grid, moved, geometry.vertical_in_base, tolerance, settings)
    residuals = _residuals(pushed, grid, settings)
    low_pass = LowPass(cutoff_hz=settings.cutoff_hz, order=settings.filter_order)
    smooth_in_place(moved, grid.imu_known, low_pass, fs_hz=grid.fs_hz)
    smooth_in_place(pushed, grid.force_known, low_pass, fs_hz=grid.fs_hz)
    wrench = _without_shell(grid, pushed, moved, geometry, compensate=compensate)
    marked = marked_windows(recording.events, grid.origin_us, grid.fs_hz, len(wrench))
    zero = find_zero(wrench, found.at_home, grid.fs_hz, settings, marked=marked)
    wrench -= zero.wrench
    on, hand_off = _hand(grid, wrench, settings)
    orientation = settle(
        found, hand_off, geometry.vertical_in_base, tolerance, settings, fs_hz=grid.fs_hz
    )
    series = resolve(
        _unresolved(grid, orientation, wrench, moved[:, 3:], on),
        fs_hz=grid.fs_hz,
        target=target,
        geometry=geometry,
        sources=sources_of(
            recording.rig,
            _shown(zero, orientation),
            heading_drift_rad_s=float(np.deg2rad(settings.heading_drift_deg_s)),
        ),
        settings=settings,
        passes=2,
        in_place=True,
    )
    del pushed, moved, wrench  # an hour's samples are too many to be held twice
    hand = stabilising_hand(recording, grid, orientation.at_home, settings)
    series = _with_doubts(_with_second_hand(series, hand), orientation)
    spans = find_repetitions(series, settings.repetitions)
    repetitions = measure_repetitions(
        series, spans, target, settings.measures, side=recording.rig.rig.side
    )
    return Trial(
        recording=_facts(recording, grid),
        target=target,
        settings=settings.to_dict(),
        series=series,
        repetitions=with_practice(repetitions, practice_told(recording, grid.origin_us), series),
        stop_drills=stop_drills(recording, series, grid.origin_us),
        quality=assess(
            Evidence(
                recording=recording,
                grid=grid,
                orientation=orientation,
                zero=zero,
                strongest_n=_strongest_n(series),
                stabilising_known=hand is not None,
                short_returns=short_returns(series, spans, settings.repetitions),
            )
        ),
        residuals=residuals,
    )


def _shown(zero: Zero, orientation: Orientation) -> Shown:
    return Shown(
        noise_n=zero.noise_n,
        zero_scatter_n=zero.scatter_n,
        zero_moved_n=zero.moved_n,
        home_tilt_rad=orientation.home_tilt_rad,
        home_scatter_rad=orientation.home_scatter_rad,
    )


def _residuals(pushed: Floats, grid: Grid, settings: AnalysisSettings) -> ResidualCurve | None:
    """Return what low-passes would leave of the force, None if too little is known."""
    force = liveliest(pushed[:, :3], grid.force_known, fs_hz=grid.fs_hz)
    if force is None:
        return None
    return residual_analysis(force, fs_hz=grid.fs_hz, order=settings.filter_order)


def _without_shell(
    grid: Grid, pushed: Floats, moved: Floats, geometry: Geometry, *, compensate: bool
) -> Floats:
    """Return *pushed* with the shell's weight and inertia out, zero still in, same array."""
    force, rate = moved[:, :3], moved[:, 3:]
    for part in parts_of(len(pushed)):
        turning = slope_of_part(rate, grid.imu_known, part, fs_hz=grid.fs_hz)
        motion = ShellMotion(force[part], rate[part], turning)
        pushed[part] = hand_wrench(pushed[part], geometry, motion, compensate=compensate)
    return pushed


def _with_second_hand(series: ResolvedSeries, hand: StabilisingHand | None) -> ResolvedSeries:
    if hand is None:
        return series
    return read_only(replace(series, stabiliser_n=hand.force_n, stabiliser_on=hand.on))


def _with_doubts(series: ResolvedSeries, orientation: Orientation) -> ResolvedSeries:
    doubts = [(one.start, one.stop) for one in orientation.doubts]
    turns = [(one.start, one.stop) for one in orientation.turns]
    if not doubts + turns:
        return series
    flags = np.zeros(len(series), dtype=np.bool_)
    for start, stop in doubts + turns:
        flags[start:stop] = True
    return unsettled_where(series, flags)


def _strongest_n(series: ResolvedSeries) -> float:
    return float(np.fmax.reduce(series.magnitude_n))


def _hand(grid: Grid, wrench: Floats, settings: AnalysisSettings) -> tuple[Flags, Flags]:
    """Return where the hand is on, and where it is known to be off, each (n,)."""
    on, _ = contact(lengths(wrench[:, :3]), grid.fs_hz, settings, ContactState())
    on = without_short_gaps(on, int(settings.contact_gap_s * grid.fs_hz))
    return on, ~on & grid.force_known


def _unresolved(
    grid: Grid, orientation: Orientation, wrench: Floats, rate: Floats, on: Flags
) -> Unresolved:
    return Unresolved(
        time_s=grid.time_s,
        wrench=wrench,
        humerus_to_base=orientation.humerus_to_base,
        pose_known=orientation.known & grid.imu_known,
        heading_age_s=orientation.heading_age_s,
        angular_rate_rad_s=rate,
        missing=grid.missing,
        saturated=grid.saturated,
        contact=on,
    )


def _facts(recording: Recording, grid: Grid) -> Mapping[str, Any]:
    rates = {
        name: round(rate, 3)
        for name, stream in recording.streams.items()
        if (rate := effective_rate_hz(stream)) is not None
    }
    calibrated = recording.rig.cell.calibrated_on
    return {
        "file": recording.source.name if recording.source else None,
        "uuid": recording.uuid,
        "sha256": recording.sha256 or None,
        "started_utc": recording.started_utc,
        "duration_s": round(float(grid.time_s[-1]), 3),
        "rig": recording.rig.rig.id,
        "side": recording.rig.rig.side,
        "axes": recording.rig.cell.axes,
        "calibrated_on": calibrated.isoformat() if calibrated else None,
        "firmware": recording.identity.firmware_version,
        "person": recording.label.person,
        "condition": recording.label.condition,
        "note": recording.label.note,
        "software": recording.software,
        "status": recording.status,
        "rates_hz": rates,
    }
