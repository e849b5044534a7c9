"""95 % intervals of the chief measures of a phase, from how much they change along it.

Each measure is, near its value, a mean of what every sample adds to it (delta method), and
`analysis.memory` says how far such a mean may be off when samples hang together. A change in
proportion to time or to elevation belongs to the phase. An interval says how well the phase
tells its own mean; what calibration, mounting and orientation leave uncertain stands beside it
as standard uncertainty.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.measures.direction import on_target_flags, tangent_cells, tangents
from analysis.measures.phase_view import PhaseView
from analysis.memory import (
    CELLS,
    CONSTANT,
    TOO_SHORT,
    Reach,
    cell_means,
    reach_of_means,
    reach_of_slope,
    too_few_to_tell,
)
from analysis.steadiness import without_change_along
from analysis.trial import Interval, MeasureValue
from analysis.vectors import cross, dot

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

DRIFT = "superior_drift_deg_per_10deg"


@dataclass(frozen=True, slots=True)
class Chief:
    """A measure that has an interval.

    Attributes:
        use: Which samples of a phase it rests on.
        cells: From a phase to what they add, as `cell_means`: (CELLS,) or, in two directions,
            (CELLS, 2).
        ends: From the value and the half-widths to the interval.
    """

    use: Callable[[PhaseView], Flags]
    cells: Callable[[PhaseView], Floats]
    ends: Callable[[float, Floats], Interval]


@dataclass(frozen=True, slots=True)
class Intervals:
    """What was found.

    Attributes:
        ends: By key.
        reasons: Why a chief measure that has a value has no interval, by key.
    """

    ends: dict[str, Interval] = field(default_factory=dict)
    reasons: dict[str, str] = field(default_factory=dict)


def intervals_of(view: PhaseView, values: Mapping[str, MeasureValue]) -> Intervals:
    """Return the interval of each chief measure that has a value, or why it has none.

    Args:
        view: The phase.
        values: Its measures.
    """
    found = Intervals()
    drift: Floats | None = None
    # Mostly all rest on the same samples: then they are looked at together, which costs less.
    alike: dict[bytes, tuple[Floats | None, dict[str, Floats]]] = {}
    for use in (_known, _held, _directed):
        keys = [key for key, one in CHIEF.items() if one.use is use and values.get(key) is not None]
        with_drift = use is _directed and values.get(DRIFT) is not None
        if not keys and not with_drift:
            continue
        chosen = use(view)
        if why := too_few_to_tell(int(np.count_nonzero(chosen)), view.series.fs_hz):
            found.reasons.update(dict.fromkeys([*keys, *([DRIFT] if with_drift else [])], why))
            continue
        way = _elevation(view, chosen)
        drift = way if with_drift else None
        _, cells = alike.setdefault(b"" if way is None else way.tobytes(), (way, {}))
        cells |= {key: np.atleast_2d(CHIEF[key].cells(view).T) for key in keys}
    for way, cells in alike.values():
        if cells:
            reach = reach_of_means(np.concatenate(list(cells.values())), way)
            _add(found, {key: len(one) for key, one in cells.items()}, reach, values)
    if drift is not None:
        _add_drift(found, view, drift, float(values[DRIFT] or 0.0))
    return found


def _elevation(view: PhaseView, use: Flags) -> Floats | None:
    """Return the cells of the elevation, None where it is not known throughout."""
    elevation = view.part(view.series.elevation_rad)[use]
    return cell_means(elevation) if np.isfinite(elevation).all() else None


def _add(
    found: Intervals, widths: Mapping[str, int], reach: Reach, values: Mapping[str, MeasureValue]
) -> None:
    begin = 0
    for key, width in widths.items():
        here = slice(begin, begin + width)
        begin += width
        if reason := _against(reach, here):
            found.reasons[key] = reason
        else:
            found.ends[key] = CHIEF[key].ends(float(values[key] or 0.0), reach.half_width[here])


def _add_drift(found: Intervals, view: PhaseView, way: Floats, slope_per_10deg: float) -> None:
    superior = cell_means(view.when_directed(view.series.superior_angle_rad))
    # Degrees per degree are radians per radian.
    reach = reach_of_slope(way, superior, slope_per_10deg / 10.0)
    if reason := _against(reach, slice(None)):
        found.reasons[DRIFT] = reason
    else:
        found.ends[DRIFT] = _evenly(slope_per_10deg, 10.0 * reach.half_width)


def _against(reach: Reach, here: slice) -> str:
    if reach.constant[here].all():
        return CONSTANT
    return TOO_SHORT if reach.too_short[here].any() else ""


def _evenly(value: float, half: Floats) -> Interval:
    return value - float(half[0]), value + float(half[0])


def _in_proportion(value: float, half: Floats) -> Interval:
    """Return the ends for a spread: it scatters by a share of itself and is never below 0.

    A phase shows the spread about its own mean; how far that is off, it does not show.
    """
    times = float(np.exp(half[0] / value))
    return value / times, float(np.hypot(value * times, half[1] / 2.0))


def _as_share(value: float, half: Floats) -> Interval:
    """Return the ends for a percentage, between 0 and 100: even in the logarithm of its odds."""
    share = value / 100.0
    odds = np.log(share / (1.0 - share))
    ends = odds + np.array([-1.0, 1.0]) * half[0] / 100.0 / (share * (1.0 - share))
    low, high = 100.0 / (1.0 + np.exp(-np.clip(ends, -700.0, 700.0)))
    return float(low), float(high)


def _off_target(value: float, half: Floats) -> Interval:
    """Return the ends for an angle, never below 0: what lies across can only make it larger."""
    away, across = float(half[0]), float(half[1])
    low = value - away if value > np.hypot(away, across) else 0.0
    return low, float(np.hypot(value + away, across))


def _cv(view: PhaseView) -> Floats:
    """Return what each sample adds to 100·SD/mean, and to 100 times the mean in its own size.

    A change along the phase, or with the elevation, is part of the spread, and known.
    """
    size = view.when_held(view.series.magnitude_n)
    mean, sd = float(size.mean()), float(size.std(ddof=1))
    if not sd:
        return np.zeros((CELLS, 2))
    ways = [view.when_held(view.series.time_s), view.when_held(view.series.elevation_rad)]
    off = without_change_along(size, [way for way in ways if np.isfinite(way).all()])
    along = size - off - mean
    adds = (2.0 * along * off + off**2) / (2.0 * sd * mean) - sd * off / mean**2
    return cell_means(100.0 * np.array([adds, size / mean]).T)


def _azimuth(view: PhaseView) -> Floats:
    x, _, z = view.mean_push
    toward = np.array([z, 0.0, -x]) / (x**2 + z**2)
    return _turning(view, toward)


def _superior(view: PhaseView) -> Floats:
    x, y, z = view.mean_push
    level = np.hypot(x, z)
    return _turning(view, np.array([-x * y / level, level, -z * y / level]))


def _turning(view: PhaseView, toward: Floats) -> Floats:
    """Return how far the pushes turn the mean one along a tangent (3,), degrees."""
    resultant = view.push_statistics.resultant / len(view.directions)
    return np.asarray(np.rad2deg(dot(view.direction_cells, toward) / resultant))


def _off_axis(view: PhaseView) -> Floats:
    """Return how far the pushes, and the target if it moves, turn the one from the other."""
    cells = tangent_cells(view)
    if view.series.target_direction is None:
        return cells
    push, target = view.mean_push, view.mean_target
    aims = view.when_directed(view.series.target_direction)
    away, across = tangents(view)
    # The tangent at the target that leads away from the push, along the arc between them.
    back = -float(dot(push, target)) * away - float(np.linalg.norm(cross(push, target))) * push
    mean_aim = float(np.linalg.norm(aims.mean(axis=0)))
    aimed = cell_means(aims)
    turned = np.stack([dot(aimed, back), -dot(aimed, across)], axis=1)
    return np.asarray(cells + np.rad2deg(turned / mean_aim))


def _known(view: PhaseView) -> Flags:
    return view.known


def _held(view: PhaseView) -> Flags:
    return view.held


def _directed(view: PhaseView) -> Flags:
    return view.directed


def _in_band(view: PhaseView) -> Floats:
    band, size = view.target.force_band, view.when_known(view.series.magnitude_n)
    return _share((size >= band.low_n) & (size <= band.high_n))


def _touched(view: PhaseView) -> Floats:
    return _share(view.series.contact[view.slice][view.known])


def _aimed(view: PhaseView) -> Floats:
    return _share(on_target_flags(view)[view.known])


def _share(flags: Flags) -> Floats:
    return cell_means(np.where(flags, 100.0, 0.0))


def _magnitude(view: PhaseView) -> Floats:
    return cell_means(view.when_held(view.series.magnitude_n))


def _glide(view: PhaseView) -> Floats:
    return cell_means(view.when_held(view.series.glide_n))


def _superior_force(view: PhaseView) -> Floats:
    return cell_means(view.when_held(view.series.superior_force_n))


CHIEF: dict[str, Chief] = {
    "on_target_percent": Chief(_known, _aimed, _as_share),
    "hold_coverage_percent": Chief(_known, _touched, _as_share),
    "force_in_band_percent": Chief(_known, _in_band, _as_share),
    "force_mean_N": Chief(_held, _magnitude, _evenly),
    "force_cv_percent": Chief(_held, _cv, _in_proportion),
    "glide_mean_N": Chief(_held, _glide, _evenly),
    "superior_force_mean_N": Chief(_held, _superior_force, _evenly),
    "azimuth_mean_deg": Chief(_directed, _azimuth, _evenly),
    "superior_angle_mean_deg": Chief(_directed, _superior, _evenly),
    "off_axis_mean_deg": Chief(_directed, _off_axis, _off_target),
}
"""A measure that shall have an interval: one line here."""
