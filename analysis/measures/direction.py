"""Which way, how far from the target, and how scattered."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.directions import angular_sd_rad
from analysis.measures.phase_view import PhaseView, Withheld, percent
from analysis.memory import CONSTANT, TOO_SHORT, cell_means, reach_of_means, too_few_to_tell
from analysis.uncertainty import ON_TARGET_RAD
from analysis.vectors import angle_between, cross, dot

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def azimuth_mean(view: PhaseView) -> float:
    """Return the azimuth of the mean direction: 0° straight back, + toward lateral."""
    return _azimuth_deg(view.mean_push)


def azimuth_error_mean(view: PhaseView) -> float:
    """Return the azimuth of the mean direction minus the target's, within ±180°."""
    still = view.series.target_direction is None
    wanted = view.target.glide_azimuth_deg if still else _azimuth_deg(view.mean_target)
    return (azimuth_mean(view) - wanted + 180.0) % 360.0 - 180.0


def off_axis_mean(view: PhaseView) -> float:
    """Return the angle between the mean direction and the target's."""
    return float(np.rad2deg(angle_between(view.mean_push, view.mean_target)))


def off_axis_rms(view: PhaseView) -> float:
    """Return the root mean square angle to the target."""
    angle = view.when_directed(view.series.off_axis_rad)
    return float(np.rad2deg(np.sqrt(np.mean(angle**2))))


def off_axis_p95(view: PhaseView) -> float:
    """Return the 95th percentile of the angle to the target."""
    return float(np.rad2deg(np.percentile(view.when_directed(view.series.off_axis_rad), 95)))


def direction_dispersion(view: PhaseView) -> float:
    """Return the angular SD of the direction: root mean square angle to its own mean."""
    return float(np.rad2deg(angular_sd_rad(view.directions, view.mean_push)))


def direction_kappa(view: PhaseView) -> float:
    """Return the Fisher concentration of the direction about its own mean, k = (N − 1)/(N − R).

    Fisher 1953; it describes the spread, its samples being no independent ones.
    """
    kappa = view.push_statistics.kappa
    if not np.isfinite(kappa):
        raise Withheld("the direction never changed, so its concentration has no bound")
    return kappa


def direction_cone(view: PhaseView) -> float:
    """Return the half-angle of the cone that holds the true mean direction with 95 % or more.

    From how far the mean may be off along and across the way to the target, allowing for
    samples that hang together (`analysis.memory`); Fisher's own cone is for independent ones and
    would be far too narrow. It knows nothing of calibration and mounting: those are in the
    standard uncertainties.
    """
    if why := too_few_to_tell(len(view.directions), view.series.fs_hz):
        raise Withheld(why)
    elevation = cell_means(view.when_directed(view.series.elevation_rad))
    reach = reach_of_means(
        tangent_cells(view).T, elevation if np.isfinite(elevation).all() else None
    )
    if reach.constant.all():
        raise Withheld(CONSTANT)
    if reach.too_short.any():
        raise Withheld(TOO_SHORT)
    return float(np.hypot(*reach.half_width))


def tangents(view: PhaseView) -> tuple[Floats, Floats]:
    """Return unit tangents at the mean push, each (3,): away from the target, and across."""
    push, target = view.mean_push, view.mean_target
    away = float(dot(push, target)) * push - target
    size = float(np.linalg.norm(away))
    if size < ON_TARGET_RAD:  # any will do
        away = np.array([push[2], 0.0, -push[0]])
        size = float(np.linalg.norm(away))
    away = away / size
    return away, cross(push, away)


def tangent_cells(view: PhaseView) -> Floats:
    """Return how far the pushes turn the mean one along its `tangents`, degrees, (CELLS, 2)."""
    resultant = view.push_statistics.resultant / len(view.directions)
    turned = [dot(view.direction_cells, tangent) for tangent in tangents(view)]
    return np.asarray(np.rad2deg(np.stack(turned, axis=1) / resultant))


def on_target(view: PhaseView) -> float:
    """Return the share of the known time inside cone, superior limit and force band at once.

    Time without a direction counts as off target: a push too light to tell is none.
    """
    view.when_known(view.series.glide_n)
    return percent(on_target_flags(view)[view.known])


def on_target_flags(view: PhaseView) -> Flags:
    """Return where the push is inside cone, superior limit and force band at once, shape (m,)."""
    target, band = view.target, view.target.force_band
    size = view.part(view.series.magnitude_n)
    with np.errstate(invalid="ignore"):
        return np.asarray(
            view.directed
            & (view.part(view.series.off_axis_rad) <= np.deg2rad(target.cone_deg))
            & (view.part(view.series.superior_angle_rad) <= np.deg2rad(target.superior_limit_deg))
            & (size >= band.low_n)
            & (size <= band.high_n)
        )


def azimuth_u(view: PhaseView) -> float:
    """Return the standard uncertainty of the mean azimuth."""
    return _systematic(view, view.series.azimuth_u_rad)


def superior_angle_u(view: PhaseView) -> float:
    """Return the standard uncertainty of the mean superior angle."""
    return _systematic(view, view.series.superior_angle_u_rad)


def off_axis_u(view: PhaseView) -> float:
    """Return the standard uncertainty of the mean direction across the target."""
    return _systematic(view, view.series.off_axis_u_rad)


def _azimuth_deg(direction: Floats) -> float:
    return float(np.rad2deg(np.arctan2(direction[2], -direction[0])))


def _systematic(view: PhaseView, u_rad: Floats) -> float:
    # Calibration, zero, mounting and heading are the same in every sample: averaging does not
    # make them smaller, so the mean is as uncertain as a typical sample.
    values = view.when_directed(u_rad)
    return float(np.rad2deg(np.sqrt(np.mean(values**2))))
