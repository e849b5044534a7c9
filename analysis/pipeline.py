"""A recording to a trial: the whole offline way in one place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.physical import Geometry, right_shoulder_geometry
from acquisition.recording.model import Recording
from acquisition.recording.reader import content_sha256
from analysis.filters import LowPass, slope_runs, smooth_runs
from analysis.measures import measure_repetitions
from analysis.orientation import Orientation, orient
from analysis.quality import Evidence, assess, effective_rate_hz
from analysis.repetitions import find_repetitions
from analysis.resolve import ContactState, Unresolved, contact, resolve
from analysis.runs import parts_of, without_short_gaps
from analysis.settings import AnalysisSettings
from analysis.shell import ShellMotion, hand_wrench
from analysis.target import Target, target_from_json
from analysis.timebase import EvenSamples, even_samples
from analysis.trial import Trial
from analysis.uncertainty import sources_of
from analysis.zero import Zero, find_zero, marked_windows

Floats = NDArray[np.float64]


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
    motion = _motion(samples, orientation, settings)
    wrench = _wrench(samples, motion, geometry, settings, compensate=compensate)
    zero = _zero(recording, samples, orientation, wrench, settings)
    wrench -= zero.wrench
    sources = sources_of(
        recording.rig,
        noise_n=zero.noise_n,
        zero_n=zero.scatter_n,
        heading_drift_rad_s=float(np.deg2rad(settings.heading_drift_deg_s)),
    )
    series = resolve(
        _unresolved(samples, orientation, motion, wrench, settings),
        fs_hz=samples.fs_hz,
        target=target,
        geometry=geometry,
        sources=sources,
        settings=settings,
    )
    spans = find_repetitions(series, settings.repetitions)
    return Trial(
        recording=_facts(recording, samples),
        target=target,
        settings=settings.to_dict(),
        series=series,
        repetitions=measure_repetitions(series, spans, target, side=recording.rig.rig.side),
        quality=assess(Evidence(recording, samples, orientation, zero)),
    )


def _low_pass(settings: AnalysisSettings) -> LowPass:
    return LowPass(cutoff_hz=settings.cutoff_hz, order=settings.filter_order)


def _motion(
    samples: EvenSamples, orientation: Orientation, settings: AnalysisSettings
) -> ShellMotion:
    """Return how H moves, filtered like the force; NaN where the inertial unit was not heard."""
    spec, known = _low_pass(settings), samples.imu_known
    rate = smooth_runs(orientation.angular_rate_rad_s, known, spec, fs_hz=samples.fs_hz)
    return ShellMotion(
        specific_force_m_s2=smooth_runs(
            samples.specific_force_m_s2, known, spec, fs_hz=samples.fs_hz
        ),
        angular_rate_rad_s=rate,
        angular_acceleration_rad_s2=slope_runs(rate, known, fs_hz=samples.fs_hz),
    )


def _wrench(
    samples: EvenSamples,
    motion: ShellMotion,
    geometry: Geometry,
    settings: AnalysisSettings,
    *,
    compensate: bool,
) -> Floats:
    """Return the hand's wrench in H, zero still in, shape (n, 3 or 6)."""
    measured = smooth_runs(
        samples.pushed, samples.force_known, _low_pass(settings), fs_hz=samples.fs_hz
    )
    for part in parts_of(len(measured)):
        measured[part] = hand_wrench(
            measured[part], geometry, motion.rows(part), compensate=compensate
        )
    return measured


def _zero(
    recording: Recording,
    samples: EvenSamples,
    orientation: Orientation,
    wrench: Floats,
    settings: AnalysisSettings,
) -> Zero:
    marked = marked_windows(recording.events, samples.origin_us, samples.fs_hz, len(wrench))
    return find_zero(wrench, orientation.at_home, samples.fs_hz, settings, marked=marked)


def _unresolved(
    samples: EvenSamples,
    orientation: Orientation,
    motion: ShellMotion,
    wrench: Floats,
    settings: AnalysisSettings,
) -> Unresolved:
    magnitude = np.linalg.norm(wrench[:, :3], axis=1)
    on, _ = contact(magnitude, samples.fs_hz, settings, ContactState())
    return Unresolved(
        time_s=samples.time_s,
        wrench=wrench,
        humerus_to_base=orientation.humerus_to_base,
        pose_known=orientation.known & samples.imu_known,
        heading_age_s=orientation.heading_age_s,
        angular_rate_rad_s=motion.angular_rate_rad_s,
        missing=samples.missing,
        saturated=samples.saturated,
        contact=without_short_gaps(on, int(settings.contact_gap_s * samples.fs_hz)),
    )


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
