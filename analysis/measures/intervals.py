"""95 % intervals of the chief measures of a phase, from how much they change along it.

Samples hang together, so what is drawn again are stretches of `MeasureSettings.block_s` (moving
block bootstrap, Künsch 1989); the drift has Sen's interval over the means of such stretches. An
interval says how well the phase tells its own mean; what calibration, mounting and orientation
leave uncertain stands beside it as standard uncertainty. Same seed, same intervals.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.measures.direction import on_target_flags
from analysis.measures.phase_view import PhaseView
from analysis.robust import LEAST_BLOCKS, LEVEL, block_means, resampled_means, theil_sen
from analysis.trial import Interval, MeasureValue
from analysis.vectors import angle_between

Floats = NDArray[np.float64]
OfMeans = Callable[[Floats], Floats]
"""From means, (r, k), to a measure, (r,)."""

STEPS_OF_A_BLOCK = 25
"""A block may begin at so many places within another: enough, and quick at a high rate."""
DRIFT = "superior_drift_deg_per_10deg"


@dataclass(frozen=True, slots=True)
class Family:
    """Measures that are functions of means of the same rows.

    Attributes:
        rows: From a phase to rows (n, k); raises `Withheld` where there are too few.
        measures: By key, from means of rows to the measure. Angles in degrees.
    """

    rows: Callable[[PhaseView], Floats]
    measures: Mapping[str, OfMeans]


def intervals_of(view: PhaseView, values: Mapping[str, MeasureValue]) -> dict[str, Interval]:
    """Return the interval of each chief measure that has a value and enough of the phase.

    Args:
        view: The phase.
        values: Its measures.
    """
    drawn: dict[str, Floats] = {}
    for family in FAMILIES:
        keys = [key for key in family.measures if values.get(key) is not None]
        draws = _draws(family.rows(view), view) if keys else None
        if draws is not None:
            drawn |= {key: family.measures[key](draws) for key in keys}
    found = _percentiles(drawn, values)
    if values.get(DRIFT) is not None and (drift := _drift(view)) is not None:
        found[DRIFT] = drift
    return found


def _draws(rows: Floats, view: PhaseView) -> Floats | None:
    settings = view.settings
    block = max(1, round(settings.block_s * view.series.fs_hz))
    if len(rows) < LEAST_BLOCKS * block:
        return None
    thin = max(1, block // STEPS_OF_A_BLOCK)
    return resampled_means(
        block_means(rows, thin),
        block=block // thin,
        rng=np.random.default_rng(settings.seed),
        resamples=settings.resamples,
    )


def _percentiles(
    drawn: Mapping[str, Floats], values: Mapping[str, MeasureValue]
) -> dict[str, Interval]:
    if not drawn:
        return {}
    middle = np.array([float(values[key] or 0.0) for key in drawn])
    away = np.stack(list(drawn.values()), axis=1) - middle
    for column, key in enumerate(drawn):
        if key == "azimuth_mean_deg":  # it wraps: look at what lies round the value itself
            away[:, column] = (away[:, column] + 180.0) % 360.0 - 180.0
    low, high = np.quantile(away, [(1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0], axis=0)
    # An angle off the target is never below 0: near it every draw may lie above the value.
    ends = np.minimum(low, 0.0) + middle, np.maximum(high, 0.0) + middle
    return {key: (float(a), float(b)) for key, a, b in zip(drawn, *ends, strict=True)}


def _drift(view: PhaseView) -> Interval | None:
    block = max(1, round(view.settings.block_s * view.series.fs_hz))
    elevation = view.when_directed(view.series.elevation_rad)
    superior = view.when_directed(view.series.superior_angle_rad)
    means = block_means(np.rad2deg(np.stack([elevation, superior], axis=1)), block)
    if len(means) < LEAST_BLOCKS or not np.isfinite(means).all():
        return None
    slope = theil_sen(means[:, 0], means[:, 1], most=view.settings.drift_points)
    return slope.low * 10.0, slope.high * 10.0


def _known(view: PhaseView) -> Floats:
    band, size = view.target.force_band, view.when_known(view.series.magnitude_n)
    inside = (size >= band.low_n) & (size <= band.high_n)
    held = view.series.contact[view.slice][view.known]
    return np.stack([on_target_flags(view)[view.known], held, inside], axis=1).astype(np.float64)


def _held(view: PhaseView) -> Floats:
    series = view.series
    size = view.when_held(series.magnitude_n)
    glide, up = view.when_held(series.glide_n), view.when_held(series.superior_force_n)
    return np.stack([size, size**2, glide, up], axis=1)


def _directed(view: PhaseView) -> Floats:
    toward = view.target.directions_in(view.series)
    return np.hstack([view.directions, view.when_directed(toward)])


def _cv_percent(means: Floats) -> Floats:
    mean, square = means[:, 0], means[:, 1]
    return np.asarray(100.0 * np.sqrt(np.maximum(square - mean**2, 0.0)) / mean)


def _azimuth_deg(means: Floats) -> Floats:
    return np.asarray(np.rad2deg(np.arctan2(means[:, 2], -means[:, 0])))


def _superior_deg(means: Floats) -> Floats:
    level = np.hypot(means[:, 0], means[:, 2])
    return np.asarray(np.rad2deg(np.arctan2(means[:, 1], level)))


def _off_axis_deg(means: Floats) -> Floats:
    return np.asarray(np.rad2deg(angle_between(means[:, :3], means[:, 3:])))


def _column(number: int, scale: float = 1.0) -> OfMeans:
    return lambda means: scale * means[:, number]


FAMILIES: tuple[Family, ...] = (
    Family(
        _known,
        {
            "on_target_percent": _column(0, 100.0),
            "hold_coverage_percent": _column(1, 100.0),
            "force_in_band_percent": _column(2, 100.0),
        },
    ),
    Family(
        _held,
        {
            "force_mean_N": _column(0),
            "force_cv_percent": _cv_percent,
            "glide_mean_N": _column(2),
            "superior_force_mean_N": _column(3),
        },
    ),
    Family(
        _directed,
        {
            "azimuth_mean_deg": _azimuth_deg,
            "superior_angle_mean_deg": _superior_deg,
            "off_axis_mean_deg": _off_axis_deg,
        },
    ),
)
"""A measure that shall have an interval: one line here."""
