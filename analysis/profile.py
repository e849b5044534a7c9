"""Each quantity along the arc, on an even grid of elevation: raise and lower apart.

The grid is the same for every repetition, so that profiles can be laid on each other. Within a
bin pushes are added as vectors, and only then an angle is taken.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from analysis.directions import unit_vectors
from analysis.measure_settings import MeasureSettings
from analysis.row_uncertainty import force_u
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.trial import PhaseName, RepetitionSpans, Span, Trial
from analysis.vectors import angle_between

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Counts = NDArray[np.int64]

WHOLE_ARC_DEG = 180.0


@dataclass(frozen=True, slots=True)
class ArcProfile:
    """One way along the arc; every array has one value for each bin, NaN where nothing is known.

    Attributes:
        elevation_deg: Middle of the bin.
        held: How many samples force and glide rest on: the hand was on.
        directed: How many samples the direction rests on.
        magnitude_n: Mean magnitude of the push.
        glide_n: Mean component along the target.
        azimuth_deg: Of the mean direction, 0 straight back, + lateral.
        azimuth_error_deg: That minus the target's, within ±180°.
        superior_angle_deg: Of the mean direction, + upward.
        off_axis_deg: Angle between the mean direction and the target.
        speed_deg_s: Mean speed of the elevation, ≥ 0.
        magnitude_u_n: Standard uncertainty of the magnitude: its systematic parts are the same in
            every sample, so it does not shrink with their number.
        glide_u_n: Likewise of the component along the target.
        azimuth_u_deg: Likewise of the azimuth.
        superior_angle_u_deg: Likewise.
        off_axis_u_deg: Likewise, across the target.
    """

    elevation_deg: Floats
    held: Counts
    directed: Counts
    magnitude_n: Floats
    glide_n: Floats
    azimuth_deg: Floats
    azimuth_error_deg: Floats
    superior_angle_deg: Floats
    off_axis_deg: Floats
    speed_deg_s: Floats
    magnitude_u_n: Floats
    glide_u_n: Floats
    azimuth_u_deg: Floats
    superior_angle_u_deg: Floats
    off_axis_u_deg: Floats

    def to_dict(self) -> dict[str, list[float | int | None]]:
        """Return plain values for JSON, null where nothing is known."""
        return {
            field.name: [
                None if isinstance(value, float) and np.isnan(value) else value
                for value in getattr(self, field.name).tolist()
            ]
            for field in fields(self)
        }


@dataclass(frozen=True, slots=True)
class Profile:
    """A repetition along the arc, on the way up and on the way down."""

    raising: ArcProfile
    lowering: ArcProfile

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON, the two ways by the names of the phases."""
        return {
            PhaseName.RAISE.value: self.raising.to_dict(),
            PhaseName.LOWER.value: self.lowering.to_dict(),
        }


def profile_of(
    series: ResolvedSeries,
    spans: RepetitionSpans,
    target: Target,
    settings: MeasureSettings | None = None,
) -> Profile:
    """Return the profile of a repetition.

    Args:
        series: The resolved push.
        spans: Where the repetition lies.
        target: What the off-axis angle is measured against.
        settings: Width of the bins; None takes the defaults.
    """
    width_deg = (settings or MeasureSettings()).profile_bin_deg
    return Profile(
        raising=_arc(series, spans.raising, target, width_deg),
        lowering=_arc(series, spans.lowering, target, width_deg),
    )


def profiles_of(trial: Trial) -> tuple[Profile, ...]:
    """Return the profile of each repetition of a trial, with the bins of its settings."""
    settings = msgspec.convert(trial.settings["measures"], MeasureSettings)
    return tuple(
        profile_of(trial.series, repetition.spans, trial.target, settings)
        for repetition in trial.repetitions
    )


def _arc(series: ResolvedSeries, span: Span, target: Target, width_deg: float) -> ArcProfile:
    part = span.slice
    bins = _Bins(np.rad2deg(series.elevation_rad[part]), width_deg)
    force = series.force_n[part]
    held = series.contact[part] & np.isfinite(force).all(axis=1)
    directed = series.directed[part]
    push = np.stack([bins.mean(axis, directed) for axis in unit_vectors(force).T], axis=1)
    toward = target.direction
    if series.target_direction is not None:
        moving = series.target_direction[part].T
        toward = np.stack([bins.mean(axis, directed) for axis in moving], axis=1)
    back, up, out = -push[:, 0], push[:, 1], push[:, 2]
    azimuth_deg = np.rad2deg(np.arctan2(out, back))
    wanted_deg = np.rad2deg(np.arctan2(toward[..., 2], -toward[..., 0]))
    speed = np.abs(series.elevation_speed_rad_s[part])
    u, unknown = force_u(series, part, target), np.full(len(bins.middle_deg), np.nan)
    return ArcProfile(
        elevation_deg=bins.middle_deg,
        held=bins.count(held),
        directed=bins.count(directed),
        magnitude_n=bins.mean(series.magnitude_n[part], held),
        glide_n=bins.mean(series.glide_n[part], held),
        azimuth_deg=azimuth_deg,
        azimuth_error_deg=(azimuth_deg - wanted_deg + 180.0) % 360.0 - 180.0,
        superior_angle_deg=np.rad2deg(np.arctan2(up, np.hypot(back, out))),
        off_axis_deg=np.rad2deg(angle_between(push, toward)),
        speed_deg_s=np.rad2deg(bins.mean(speed, np.isfinite(speed))),
        magnitude_u_n=bins.rms(u.magnitude_n, held) if u else unknown,
        glide_u_n=bins.rms(u.glide_n, held) if u else unknown,
        azimuth_u_deg=bins.rms_deg(series.azimuth_u_rad[part], directed),
        superior_angle_u_deg=bins.rms_deg(series.superior_angle_u_rad[part], directed),
        off_axis_u_deg=bins.rms_deg(series.off_axis_u_rad[part], directed),
    )


class _Bins:
    """Sorts samples into bins of elevation.

    Args:
        elevation_deg: Shape (n,); a sample without is in no bin.
        width_deg: Of a bin; the last one may be narrower.
    """

    def __init__(self, elevation_deg: Floats, width_deg: float) -> None:
        edges = np.append(np.arange(0.0, WHOLE_ARC_DEG, width_deg), WHOLE_ARC_DEG)
        self.middle_deg: Floats = (edges[:-1] + edges[1:]) / 2.0
        self._known = np.isfinite(elevation_deg)
        at = np.searchsorted(edges, elevation_deg, side="right") - 1
        self._at = np.clip(at, 0, len(self.middle_deg) - 1)

    def count(self, use: Flags) -> Counts:
        """Return how many of the samples to *use* (n,) each bin has."""
        return np.bincount(self._at[use & self._known], minlength=len(self.middle_deg))

    def mean(self, values: Floats, use: Flags) -> Floats:
        """Return the mean of *values* (n,) in each bin, over the samples to *use*."""
        chosen = use & self._known
        total = np.bincount(self._at[chosen], values[chosen], minlength=len(self.middle_deg))
        count = self.count(use)
        mean = np.full(len(total), np.nan)
        np.divide(total, count, out=mean, where=count > 0)
        return mean

    def rms(self, values: Floats, use: Flags) -> Floats:
        """Return the root mean square of *values* (n,) in each bin."""
        return np.sqrt(self.mean(values**2, use))

    def rms_deg(self, values_rad: Floats, use: Flags) -> Floats:
        """Return the root mean square of angles (n,) in each bin, in degrees."""
        return np.asarray(np.rad2deg(self.rms(values_rad, use)))
