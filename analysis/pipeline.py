"""A recording to a trial: the whole offline way in one place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import Geometry, right_shoulder_geometry
from acquisition.recording.model import Recording
from acquisition.recording.reader import content_sha256
from analysis.contact import head_contact_points
from analysis.filters import LowPass, smooth_runs
from analysis.measures import measure_repetitions
from analysis.orientation import (
    Orientation,
    elevation,
    elevation_speed,
    orient,
    plane_of_elevation,
)
from analysis.quality import Evidence, assess, effective_rate_hz
from analysis.repetitions import find_repetitions
from analysis.resolve import push_angles, resolved_flags
from analysis.runs import without_short_gaps
from analysis.series import ResolvedSeries, read_only
from analysis.settings import AnalysisSettings
from analysis.shell import ShellMotion, hand_force, hand_moment
from analysis.target import Target, target_from_json
from analysis.timebase import EvenSamples, even_samples
from analysis.trial import Trial
from analysis.uncertainty import direction_uncertainty, sources_of
from analysis.zero import Zero, find_zero, marked_windows

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Push:
    """The hand's wrench in H, shape (n, 3 or 6), zero taken off."""

    wrench: Floats
    zero: Zero


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
    samples = even_samples(recording, settings)
    geometry = right_shoulder_geometry(recording.rig)
    tolerance = np.deg2rad(recording.rig.home.tolerance_deg)
    orientation = orient(samples, geometry.vertical_in_base, tolerance, settings)
    push = _push(recording, samples, orientation, geometry, settings, compensate=compensate)
    series = _resolve(recording, samples, orientation, push, target, settings)
    spans = find_repetitions(series)
    return Trial(
        recording=_facts(recording, samples),
        target=target,
        settings=settings.to_dict(),
        series=series,
        repetitions=measure_repetitions(series, spans, target, side=recording.rig.rig.side),
        quality=assess(Evidence(recording, samples, orientation, push.zero)),
    )


def _push(
    recording: Recording,
    samples: EvenSamples,
    orientation: Orientation,
    geometry: Geometry,
    settings: AnalysisSettings,
    *,
    compensate: bool,
) -> _Push:
    low_pass = LowPass(cutoff_hz=settings.cutoff_hz, order=settings.filter_order)

    def smoothed(x: Floats) -> Floats:
        return smooth_runs(x, samples.force_known & samples.imu_known, low_pass, fs_hz=fs_hz)

    fs_hz = samples.fs_hz
    rate = smoothed(orientation.angular_rate_rad_s)
    motion = ShellMotion(
        specific_force_m_s2=smoothed(samples.specific_force_m_s2),
        angular_rate_rad_s=rate,
        angular_acceleration_rad_s2=np.asarray(np.gradient(rate, 1.0 / fs_hz, axis=0)),
    )
    wrench = hand_force(smoothed(samples.force_n), geometry, motion, compensate=compensate)
    if samples.moment_nm is not None:
        moment = hand_moment(smoothed(samples.moment_nm), geometry, motion)
        wrench = np.hstack([wrench, moment])
    marked = marked_windows(recording.events, samples.origin_us, fs_hz, len(wrench))
    zero = find_zero(wrench, orientation.at_home, fs_hz, settings, marked=marked)
    return _Push(np.asarray(wrench - zero.wrench), zero)


def _resolve(
    recording: Recording,
    samples: EvenSamples,
    orientation: Orientation,
    push: _Push,
    target: Target,
    settings: AnalysisSettings,
) -> ResolvedSeries:
    rotation = orientation.humerus_to_base
    force = np.asarray(rotation.apply(push.wrench[:, :3]))
    angles = push_angles(force, target.direction)
    sources = sources_of(
        recording.rig,
        noise_n=push.zero.noise_n,
        zero_n=push.zero.scatter_n,
        heading_drift_rad_s=float(np.deg2rad(settings.heading_drift_deg_s)),
    )
    u = direction_uncertainty(force, target.direction, orientation.heading_age_s, sources)
    on, directed = resolved_flags(force, angles, u, target, settings)
    on = without_short_gaps(on, int(settings.contact_gap_s * samples.fs_hz))
    raised = _known_only(elevation(rotation), samples.imu_known)
    min_raised = float(np.deg2rad(settings.plane_min_elevation_deg))
    return read_only(
        ResolvedSeries(
            fs_hz=samples.fs_hz,
            time_s=samples.time_s,
            force_n=force,
            glide_n=angles.glide_n,
            azimuth_rad=angles.azimuth_rad,
            superior_angle_rad=angles.superior_angle_rad,
            off_axis_rad=angles.off_axis_rad,
            azimuth_u_rad=u.azimuth_rad,
            superior_angle_u_rad=u.superior_angle_rad,
            off_axis_u_rad=u.off_axis_rad,
            elevation_rad=raised,
            plane_rad=_known_only(plane_of_elevation(rotation, min_raised), samples.imu_known),
            elevation_speed_rad_s=_speed(samples, orientation, settings),
            missing=samples.missing,
            saturated=samples.saturated,
            contact=on,
            directed=directed,
            contact_point_m=head_contact_points(
                push.wrench, right_shoulder_geometry(recording.rig)
            ),
        )
    )


def _speed(samples: EvenSamples, orientation: Orientation, settings: AnalysisSettings) -> Floats:
    low_pass = LowPass(cutoff_hz=settings.cutoff_hz, order=settings.filter_order)
    rate = smooth_runs(
        orientation.angular_rate_rad_s, samples.imu_known, low_pass, fs_hz=samples.fs_hz
    )
    return elevation_speed(orientation.humerus_to_base, rate)


def _known_only(values: Floats, known: Flags) -> Floats:
    return np.where(known, values, np.nan)


def _facts(recording: Recording, samples: EvenSamples) -> Mapping[str, Any]:
    rates = {
        name: round(rate, 3)
        for name, stream in recording.streams.items()
        if (rate := effective_rate_hz(stream)) is not None
    }
    return {
        "file": recording.source.name if recording.source else None,
        "uuid": recording.uuid,
        "sha256": content_sha256(recording.source) if recording.source else None,
        "started_utc": recording.started_utc,
        "duration_s": round(float(samples.time_s[-1]), 3),
        "rig": recording.rig.rig.id,
        "side": recording.rig.rig.side,
        "axes": recording.rig.cell.axes,
        "firmware": recording.identity.firmware_version,
        "person": recording.label.person,
        "condition": recording.label.condition,
        "note": recording.label.note,
        "software": recording.software,
        "status": recording.status,
        "rates_hz": rates,
    }
