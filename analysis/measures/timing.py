"""Measures of a whole repetition: when, how fast, how smoothly, and the release."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis import row_uncertainty
from analysis.filters import LowPass, smooth_runs
from analysis.measure_settings import MeasureSettings
from analysis.measures.phase_view import Withheld
from analysis.runs import runs_of
from analysis.series import ResolvedSeries
from analysis.smoothness import log_dimensionless_jerk, spectral_arc_length
from analysis.target import Target
from analysis.trial import RepetitionSpans, Span

Floats = NDArray[np.float64]

SLOPE_S = 0.02
"""The slope of the force at the release is looked at over so much to either side: about as fast as
a low-pass at 10 Hz lets it change. Ours."""


@dataclass(frozen=True)
class RepetitionView:
    """A whole repetition, as its measures look at it."""

    series: ResolvedSeries
    spans: RepetitionSpans
    target: Target
    settings: MeasureSettings
    side: str


def side(view: RepetitionView) -> str:
    """Return which side the rig is."""
    return view.side


def start(view: RepetitionView) -> float:
    """Return when the arm left home, or when what is known of an unfinished one begins."""
    return float(view.series.time_s[view.spans.raising.start])


def top(view: RepetitionView) -> float:
    """Return when the arm was highest: the middle of the top."""
    _require_top(view)
    middle = (view.spans.top.start + view.spans.top.stop) // 2
    return float(view.series.time_s[middle])


def end(view: RepetitionView) -> float:
    """Return when the arm was home again."""
    _require_complete(view)
    return float(view.series.time_s[min(view.spans.movement.stop, len(view.series) - 1)])


def complete(view: RepetitionView) -> bool:
    """Return whether the repetition lies whole in the recording."""
    return view.spans.complete


def elevation_top(view: RepetitionView) -> float:
    """Return the highest elevation."""
    _require_top(view)
    return float(np.rad2deg(np.nanmax(view.series.elevation_rad[view.spans.top.slice])))


def elevation_top_u(view: RepetitionView) -> float:
    """Return the standard uncertainty of the highest elevation."""
    _require_top(view)
    at = int(np.nanargmax(view.series.elevation_rad[view.spans.top.slice]))
    return _elevation_u_deg(view, view.spans.top.start + at)


def raise_duration(view: RepetitionView) -> float:
    """Return the time from leaving home to the top."""
    _require_complete(view)
    return len(view.spans.raising) / view.series.fs_hz


def lower_duration(view: RepetitionView) -> float:
    """Return the time from leaving the top to home."""
    _require_complete(view)
    return len(view.spans.lowering) / view.series.fs_hz


def elevation_speed_mean(view: RepetitionView) -> float:
    """Return the mean speed of raise and lower, the top left out."""
    return float(np.rad2deg(_speed_on_the_way(view).mean()))


def elevation_speed_peak(view: RepetitionView) -> float:
    """Return the highest speed of raise and lower."""
    return float(np.rad2deg(_speed_on_the_way(view).max()))


def sparc(view: RepetitionView) -> float:
    """Return the mean spectral arc length of raise and lower: −1.41 is a minimum-jerk movement.

    Each from and to 5 % of its peak speed. Balasubramanian et al. 2015.
    """
    speed = view.series.elevation_speed_rad_s[view.spans.movement.slice]
    fs_hz = view.series.fs_hz
    return float(np.mean([spectral_arc_length(one, fs_hz=fs_hz) for one in _limbs(view, speed)]))


def ldlj(view: RepetitionView) -> float:
    """Return the mean log dimensionless jerk of raise and lower: −4.41 is minimum jerk.

    Each from and to 5 % of its peak speed, where a minimum-jerk movement has −4.408 instead of
    the −5.322 of the whole (closed form). Balasubramanian et al. 2015.
    """
    speed, fs_hz = _calm_speed(view), view.series.fs_hz
    try:
        found = [log_dimensionless_jerk(one, fs_hz=fs_hz) for one in _limbs(view, speed)]
    except ValueError as cause:
        raise Withheld(str(cause)) from cause
    return float(np.mean(found))


def time_to_hold(view: RepetitionView) -> float:
    """Return the time from touching to the force first reaching the band."""
    hold, size = _holds(view)[0], view.series.magnitude_n
    if hold.start == 0 or view.series.contact[hold.start - 1]:
        raise Withheld("the hand was on before, so there is no touch to count from")
    if np.isnan(size[hold.start - 1]):
        raise Withheld("the force is not known when the hand touched")
    inside = size[hold.slice] >= view.target.force_band.low_n
    if not inside.any():
        raise Withheld("the force never reached the band")
    return float(np.argmax(inside) / view.series.fs_hz)


def released_before_down(view: RepetitionView) -> bool:
    """Return whether the hand was gone before the arm was down."""
    _require_complete(view)
    let_go = _holds(view)[-1].stop
    if let_go >= view.spans.movement.stop:
        return False
    return _elevation_at_release(view, let_go) > view.settings.down_deg


def release_elevation(view: RepetitionView) -> float:
    """Return the elevation at which the hand let go for the last time."""
    return _elevation_at_release(view, _release(view))


def release_elevation_u(view: RepetitionView) -> float:
    """Return the standard uncertainty of the elevation at release.

    Of the elevation itself, and of the moment: a force that is uncertain by u passes the threshold
    u / |slope| earlier or later, while the arm moves on.
    """
    let_go = _release(view)
    _elevation_at_release(view, let_go)  # or withheld
    u = row_uncertainty.force_u(view.series, np.array([let_go - 1]), view.target)
    elevation_u_deg = _elevation_u_deg(view, let_go)
    reach = max(1, round(SLOPE_S * view.series.fs_hz))
    around = view.series.magnitude_n[max(0, let_go - reach) : let_go + reach + 1]
    slope_n_s = abs(float(around[-1] - around[0])) * view.series.fs_hz / max(1, len(around) - 1)
    if u is None or not slope_n_s > 0.0:  # NaN too
        raise Withheld("how the force fell at the release is not known")
    speed_deg_s = abs(float(np.rad2deg(view.series.elevation_speed_rad_s[let_go])))
    return float(np.hypot(elevation_u_deg, speed_deg_s * u.magnitude_n[0] / slope_n_s))


def _release(view: RepetitionView) -> int:
    """Return the first sample without the hand."""
    _require_complete(view)
    let_go = _holds(view)[-1].stop
    if let_go == len(view.series):
        raise Withheld("the hand did not let go yet when this was measured")
    if view.series.contact[let_go]:
        raise Withheld("the hand did not let go behind this repetition")
    return let_go


def _elevation_u_deg(view: RepetitionView, at: int) -> float:
    u = row_uncertainty.pose_u(view.series, np.array([at]))
    if u is None:
        raise Withheld("what the elevation is uncertain by is not known")
    return float(np.rad2deg(u.elevation_rad[0]))


def _elevation_at_release(view: RepetitionView, let_go: int) -> float:
    elevation_deg = float(np.rad2deg(view.series.elevation_rad[let_go]))
    if np.isnan(view.series.magnitude_n[let_go]) or np.isnan(elevation_deg):
        raise Withheld("the force or the elevation is not known where the hand may have let go")
    return elevation_deg


def _require_complete(view: RepetitionView) -> None:
    if not view.spans.complete:
        raise Withheld("the repetition is unfinished")


def _require_top(view: RepetitionView) -> None:
    """Refuse where the recording, or what is known of it, begins or ends at the highest."""
    spans = view.spans
    cut = spans.top.start == spans.movement.start or spans.top.stop == spans.movement.stop
    if cut and not spans.complete:
        raise Withheld("the arm may have gone higher: the repetition is unfinished")


def _speed_on_the_way(view: RepetitionView) -> Floats:
    spans = (view.spans.raising.slice, view.spans.lowering.slice)
    speed = np.abs(np.concatenate([view.series.elevation_speed_rad_s[part] for part in spans]))
    speed = np.asarray(speed[np.isfinite(speed)])
    if not len(speed):
        raise Withheld("the elevation is not known")
    return speed


def _limbs(view: RepetitionView, speed: Floats) -> tuple[Floats, Floats]:
    """Return the speed of raise and lower, each from and to a share of its peak.

    Args:
        view: The repetition.
        speed: Shape (m,), of the movement.

    Raises:
        Withheld: It is unfinished or has gaps.
    """
    _require_complete(view)
    if not np.isfinite(speed).all():
        raise Withheld("the elevation has gaps")
    middle = (view.spans.top.start + view.spans.top.stop) // 2 - view.spans.movement.start
    return _moving(view, speed[:middle]), _moving(view, -speed[middle:])


def _moving(view: RepetitionView, speed: Floats) -> Floats:
    size = np.abs(speed)
    moving = np.flatnonzero(size >= view.settings.limb_share * size.max(initial=0.0))
    if len(moving) < 3:
        raise Withheld("the movement is too short")
    return speed[moving[0] : moving[-1] + 1]


def _calm_speed(view: RepetitionView) -> Floats:
    """Return the speed of the movement low-passed for a jerk, shape (m,); NaN in gaps.

    What lies before and behind is looked at too, or the filter would bend the ends.
    """
    movement, fs_hz = view.spans.movement, view.series.fs_hz
    spec = LowPass(cutoff_hz=view.settings.jerk_cutoff_hz)
    begin = max(0, movement.start - int(3 * fs_hz / spec.cutoff_hz))
    around = slice(begin, movement.stop + int(3 * fs_hz / spec.cutoff_hz))
    speed = view.series.elevation_speed_rad_s[around]
    calm = smooth_runs(speed, np.isfinite(speed), spec, fs_hz=fs_hz)
    return calm[movement.start - begin : movement.stop - begin]


def _holds(view: RepetitionView) -> list[Span]:
    """Return the stretches of contact from set-up to release.

    Raises:
        Withheld: There is none.
    """
    begin = view.spans.setup.start
    whole = slice(begin, max(view.spans.release.stop, view.spans.movement.stop))
    holds = [Span(begin + on, begin + off) for on, off in runs_of(view.series.contact[whole])]
    if not holds:
        raise Withheld("the hand was never on")
    return holds
