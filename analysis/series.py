"""The resolved push, sample by sample: what live and offline analysis both produce."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.uncertainty import UncertaintySources
from analysis.vectors import lengths

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Smoothing:
    """The low-pass that a force went through.

    Attributes:
        cutoff_hz: Its -3 dB point, of all passes together.
        order: Of one pass.
        passes: 1 forward only, 2 forward and back.
    """

    cutoff_hz: float
    order: int
    passes: int


@dataclass(frozen=True)
class ResolvedSeries:
    """The hand's push in the base frame B of a right shoulder, on an even time grid.

    All arrays have n rows and are read-only. Angles are radians. Where a value is not known it
    is NaN, and the flags say why; nothing is interpolated across a gap.

    Attributes:
        fs_hz: Rate of the grid.
        time_s: From the first sample of the recording.
        force_n: Shape (n, 3), the hand's push, shell's weight and inertia taken out, filtered.
        glide_n: Component along the target.
        azimuth_rad: 0 straight back, + lateral.
        superior_angle_rad: + upward.
        off_axis_rad: Angle to the target, ≥ 0.
        azimuth_u_rad: Standard uncertainty of the azimuth, one sample.
        superior_angle_u_rad: Likewise.
        off_axis_u_rad: Standard uncertainty of the direction across the target.
        elevation_rad: 0 hanging.
        plane_rad: Plane of elevation, 0 frontal, + forward. NaN near 0 elevation.
        elevation_speed_rad_s: + raising.
        missing: No sample here: lost on the wire, or longer than the gap policy allows.
        saturated: A channel stood at its rail: not a number.
        contact: The hand is on, by thresholds with hysteresis.
        directed: The force is known, in contact, and certain enough to have a direction.
        contact_point_m: Shape (n, 3) in B, from the head's centre to the hand; None with 3 axes.
        target_direction: Shape (n, 3), where the target pointed, unit vectors in B; None if it
            stands still.
        stabiliser_n: Shape (n,), magnitude of the stabilising hand's push on the scapula block;
            None if no cell under it told.
        stabiliser_on: Shape (n,), that hand is on; None likewise.
        smoothing: The low-pass that the force went through, None if none.
        unsettled: Shape (n,), the base may have moved between the rests at home on either side,
            so that where the arm pointed in it is not known well enough for a direction; None if
            it stood still throughout.
        heading_age_s: Shape (n,), time from the rest at home that fixes the heading, infinite where
            none does; None if that is not known.
        humerus_to_base: Shape (n, 4), poses as quaternions, scalar last; kept where the uncertainty
            of the force turns with the arm, else None.
        sources: What the uncertainties come from, None if that is not known.
    """

    fs_hz: float
    time_s: Floats
    force_n: Floats
    glide_n: Floats
    azimuth_rad: Floats
    superior_angle_rad: Floats
    off_axis_rad: Floats
    azimuth_u_rad: Floats
    superior_angle_u_rad: Floats
    off_axis_u_rad: Floats
    elevation_rad: Floats
    plane_rad: Floats
    elevation_speed_rad_s: Floats
    missing: Flags
    saturated: Flags
    contact: Flags
    directed: Flags
    contact_point_m: Floats | None = None
    target_direction: Floats | None = None
    stabiliser_n: Floats | None = None
    stabiliser_on: Flags | None = None
    smoothing: Smoothing | None = None
    unsettled: Flags | None = None
    heading_age_s: Floats | None = None
    humerus_to_base: Floats | None = None
    sources: UncertaintySources | None = None

    def __len__(self) -> int:
        return len(self.time_s)

    @cached_property
    def magnitude_n(self) -> Floats:
        """Magnitude of the push, shape (n,); worked out once, as every measure asks for it."""
        norm = lengths(self.force_n)
        norm.flags.writeable = False
        return norm

    @property
    def superior_force_n(self) -> Floats:
        """Upward component, shape (n,)."""
        return self.force_n[:, 1]


def read_only(series: ResolvedSeries) -> ResolvedSeries:
    """Forbid changing the arrays of a series, and return it."""
    for field in fields(series):
        values = getattr(series, field.name)
        if isinstance(values, np.ndarray):
            values.flags.writeable = False
    return series


def unsettled_where(series: ResolvedSeries, flags: Flags) -> ResolvedSeries:
    """Return the series without a direction where the base may have moved, *flags* (n,)."""
    return read_only(replace(series, unsettled=flags, directed=series.directed & ~flags))


def rows_of(series: ResolvedSeries, rows: slice) -> ResolvedSeries:
    """Return some consecutive rows of a series, as views."""
    values: dict[str, Any] = {}
    for field in fields(series):
        value = getattr(series, field.name)
        values[field.name] = value[rows] if isinstance(value, np.ndarray) else value
    return ResolvedSeries(**values)


def joined(parts: Sequence[ResolvedSeries]) -> ResolvedSeries | None:
    """Return consecutive parts of one series as one, None if there are none."""
    if len(parts) < 2:
        return parts[0] if parts else None
    return gathered(parts, sum(len(part) for part in parts))


def gathered(
    parts: Iterable[ResolvedSeries],
    count: int,
    into: Mapping[str, NDArray[Any]] | None = None,
) -> ResolvedSeries:
    """Return consecutive parts, of *count* rows together, as one series that cannot be changed.

    The parts may be made on the way: none is kept. What *into* has by the name of a field, of
    *count* rows, is filled and becomes part of the series; the others are new.
    """
    whole: dict[str, Any] = {}
    begin = 0
    for part in parts:
        here = slice(begin, begin + len(part))
        for field in fields(part):
            value = getattr(part, field.name)
            if not isinstance(value, np.ndarray):
                whole[field.name] = value
                continue
            if not begin:
                # Each component in one piece of memory: that is how they are looked at.
                new = np.empty((count, *value.shape[1:]), value.dtype, order="F")
                whole[field.name] = into.get(field.name, new) if into else new
            place = whole[field.name][here]
            if not np.may_share_memory(place, value):  # else it lies there already
                place[:] = value
        begin = here.stop
    return read_only(ResolvedSeries(**whole))
