"""Measures of a whole repetition: when, how fast, how smoothly, and the release."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.filters import LowPass, smooth
from analysis.measures.phase_view import Withheld
from analysis.runs import runs_of
from analysis.series import ResolvedSeries
from analysis.smoothness import log_dimensionless_jerk, spectral_arc_length
from analysis.target import Target
from analysis.trial import RepetitionSpans, Span

Floats = NDArray[np.float64]

STILL_SHARE = 0.05
"""The end of a raise is where the speed has fallen to this share of its peak: common practice."""

JERK_FILTER = LowPass(cutoff_hz=3.0)
"""Jerk is the second derivative of speed and would be the gyroscope's noise: a slow elevation has
nothing of its own above this. Ours."""


@dataclass(frozen=True)
class RepetitionView:
    """A whole repetition, as its measures look at it."""

    series: ResolvedSeries
    spans: RepetitionSpans
    target: Target
    side: str


def side(view: RepetitionView) -> str:
    """Return which side the rig is."""
    return view.side


def start(view: RepetitionView) -> float:
    """Return when the arm left home."""
    return float(view.series.time_s[view.spans.raising.start])


def top(view: RepetitionView) -> float:
    """Return when the arm was highest."""
    movement = view.spans.movement
    highest = int(np.nanargmax(view.series.elevation_rad[movement.slice]))
    return float(view.series.time_s[movement.start + highest])


def end(view: RepetitionView) -> float:
    """Return when the arm was home again."""
    _require_complete(view)
    return float(view.series.time_s[min(view.spans.movement.stop, len(view.series) - 1)])


def complete(view: RepetitionView) -> bool:
    """Return whether the repetition lies whole in the recording."""
    return view.spans.complete


def elevation_top(view: RepetitionView) -> float:
    """Return the highest elevation."""
    return float(np.rad2deg(np.nanmax(view.series.elevation_rad[view.spans.movement.slice])))


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
    """Return the mean spectral arc length of raise and lower: −1.41 is a minimum-jerk movement."""
    fs_hz = view.series.fs_hz
    return float(np.mean([spectral_arc_length(limb, fs_hz=fs_hz) for limb in _limbs(view)]))


def ldlj(view: RepetitionView) -> float:
    """Return the mean log dimensionless jerk of raise and lower: −5.32 is minimum jerk."""
    fs_hz = view.series.fs_hz
    limbs = [smooth(limb, JERK_FILTER, fs_hz=fs_hz) for limb in _limbs(view)]
    return float(np.mean([log_dimensionless_jerk(limb, fs_hz=fs_hz) for limb in limbs]))


def time_to_hold(view: RepetitionView) -> float:
    """Return the time from touching to the force first reaching the band."""
    hold = _last_hold(view, first=True)
    inside = view.series.magnitude_n[hold.slice] >= view.target.force_band.low_n
    if not inside.any():
        raise Withheld("the force never reached the band")
    return float(np.argmax(inside) / view.series.fs_hz)


def released_before_down(view: RepetitionView) -> bool:
    """Return whether the hand was gone before the arm was home."""
    _require_complete(view)
    return _last_hold(view).stop < view.spans.movement.stop


def release_elevation(view: RepetitionView) -> float:
    """Return the elevation at which the hand let go."""
    _require_complete(view)
    at = min(_last_hold(view).stop, len(view.series) - 1)
    elevation = float(np.rad2deg(view.series.elevation_rad[at]))
    if not np.isfinite(elevation):
        raise Withheld("the elevation is not known at the release")
    return elevation


def _require_complete(view: RepetitionView) -> None:
    if not view.spans.complete:
        raise Withheld("the repetition is unfinished")


def _speed_on_the_way(view: RepetitionView) -> Floats:
    spans = (view.spans.raising.slice, view.spans.lowering.slice)
    speed = np.abs(np.concatenate([view.series.elevation_speed_rad_s[part] for part in spans]))
    speed = np.asarray(speed[np.isfinite(speed)])
    if not len(speed):
        raise Withheld("the elevation is not known")
    return speed


def _limbs(view: RepetitionView) -> tuple[Floats, Floats]:
    """Return the speed of raise and lower, each followed into the top until it is still."""
    _require_complete(view)
    speed = view.series.elevation_speed_rad_s
    middle = (view.spans.top.start + view.spans.top.stop) // 2
    raising = speed[view.spans.raising.start : middle]
    lowering = -speed[middle : view.spans.lowering.stop]
    if not (np.isfinite(raising).all() and np.isfinite(lowering).all()):
        raise Withheld("the elevation has gaps")
    return _until_still(raising), _until_still(lowering[::-1])[::-1]


def _until_still(speed: Floats) -> Floats:
    """Cut the end of a movement off where its speed has fallen for good."""
    if len(speed) < 3:
        raise Withheld("the movement is too short")
    moving = np.flatnonzero(np.abs(speed) >= STILL_SHARE * np.abs(speed).max())
    return speed[: moving[-1] + 1]


def _last_hold(view: RepetitionView, *, first: bool = False) -> Span:
    """Return the last (or first) stretch of contact between set-up and release."""
    whole = slice(view.spans.setup.start, max(view.spans.release.stop, view.spans.movement.stop))
    holds = [Span(a + whole.start, b + whole.start) for a, b in runs_of(view.series.contact[whole])]
    if not holds:
        raise Withheld("the hand was never on")
    return holds[0] if first else holds[-1]
