"""The series as columns for other programs; a new column is one line in `CHANNELS`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.row_uncertainty import pose_u
from analysis.series import ResolvedSeries

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Channel:
    """One column.

    Attributes:
        name: With its unit; exact.
        unit: As in the International System's brochure, degrees as deg; empty for a flag.
        meaning: One sentence for the data dictionary.
        values: From a series to shape (n,), NaN where it is not known; None if the rig cannot
            tell. Flags are booleans.
    """

    name: str
    unit: str
    meaning: str
    values: Callable[[ResolvedSeries], Floats | Flags | None]

    @property
    def is_flag(self) -> bool:
        """Whether it is yes or no."""
        return not self.unit


def _force(axis: int) -> Callable[[ResolvedSeries], Floats]:
    return lambda series: series.force_n[:, axis]


def _directed(name: str) -> Callable[[ResolvedSeries], Floats]:
    """Return an angle of the push in degrees, where it has a direction."""

    def values(series: ResolvedSeries) -> Floats:
        angle: Floats = getattr(series, name)
        return np.where(series.directed, np.rad2deg(angle), np.nan)

    return values


def _degrees(name: str) -> Callable[[ResolvedSeries], Floats]:
    def values(series: ResolvedSeries) -> Floats:
        return np.asarray(np.rad2deg(getattr(series, name)))

    return values


def _pose_u(name: str) -> Callable[[ResolvedSeries], Floats | None]:
    def values(series: ResolvedSeries) -> Floats | None:
        u = pose_u(series, slice(None))
        return None if u is None else np.rad2deg(getattr(u, name))

    return values


def _contact_mm(axis: int) -> Callable[[ResolvedSeries], Floats | None]:
    def values(series: ResolvedSeries) -> Floats | None:
        point = series.contact_point_m
        return None if point is None else 1000.0 * point[:, axis]

    return values


CHANNELS: tuple[Channel, ...] = (
    Channel("time_s", "s", "From the first sample of the recording",
            lambda one: np.round(one.time_s, 6)),
    Channel("force_x_N", "N", "Push of the hand, forward component", _force(0)),
    Channel("force_y_N", "N", "Push of the hand, upward component", _force(1)),
    Channel("force_z_N", "N", "Push of the hand, outward (lateral) component", _force(2)),
    Channel("force_N", "N", "Magnitude of the push", lambda one: one.magnitude_n),
    Channel("glide_N", "N", "Component of the push along the target", lambda one: one.glide_n),
    Channel("azimuth_deg", "deg", "Azimuth of the push: 0 straight back, + outward",
            _directed("azimuth_rad")),
    Channel("superior_angle_deg", "deg", "Superior angle of the push: + upward",
            _directed("superior_angle_rad")),
    Channel("off_axis_deg", "deg", "Angle of the push from the target",
            _directed("off_axis_rad")),
    Channel("azimuth_u_deg", "deg", "Standard uncertainty of the azimuth",
            _directed("azimuth_u_rad")),
    Channel("superior_angle_u_deg", "deg", "Standard uncertainty of the superior angle",
            _directed("superior_angle_u_rad")),
    Channel("elevation_deg", "deg", "Elevation of the arm: 0 hanging", _degrees("elevation_rad")),
    Channel("plane_deg", "deg", "Plane of elevation: 0 frontal, + forward", _degrees("plane_rad")),
    Channel("elevation_u_deg", "deg", "Standard uncertainty of the elevation",
            _pose_u("elevation_rad")),
    Channel("plane_u_deg", "deg", "Standard uncertainty of the plane of elevation",
            _pose_u("plane_rad")),
    Channel("elevation_speed_deg_s", "deg/s", "Speed of the elevation: + raising",
            _degrees("elevation_speed_rad_s")),
    Channel("contact_x_mm", "mm", "Contact point from the head's centre, forward", _contact_mm(0)),
    Channel("contact_y_mm", "mm", "Contact point from the head's centre, upward", _contact_mm(1)),
    Channel("contact_z_mm", "mm", "Contact point from the head's centre, outward", _contact_mm(2)),
    Channel("stabiliser_N", "N", "Magnitude of the stabilising hand's push",
            lambda one: one.stabiliser_n),
    Channel("contact", "", "The pushing hand is on", lambda one: one.contact),
    Channel("directed", "", "The push is certain enough to have a direction",
            lambda one: one.directed),
    Channel("missing", "", "No sample here: lost on the wire or in a gap", lambda one: one.missing),
    Channel("saturated", "", "A channel of the cell stood at its rail",
            lambda one: one.saturated),
    Channel("stabiliser_on", "", "The stabilising hand is on", lambda one: one.stabiliser_on),
)  # fmt: skip
"""In the order of the table."""


def columns_of(series: ResolvedSeries) -> list[tuple[Channel, Floats | Flags]]:
    """Return the channels that the rig can tell, each with its values."""
    found = ((channel, channel.values(series)) for channel in CHANNELS)
    return [(channel, values) for channel, values in found if values is not None]
