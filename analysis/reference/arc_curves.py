"""Repetitions as curves over the arc, on one grid, so that they can be laid on each other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import msgspec
import numpy as np
from numpy.typing import NDArray

from analysis.measure_settings import MeasureSettings
from analysis.profile import ArcProfile, profile_of
from analysis.target import Target
from analysis.trial import PhaseName, Repetition, Trial

Floats = NDArray[np.float64]

WAYS = (PhaseName.RAISE, PhaseName.LOWER)
"""The two ways along the arc, in the order of the curves."""
LEAST_S = 0.02
"""A bin of the arc that the push was seen in for less is not known."""
CONES = 2.0
FAR_OFF = "pushes far off any target would lie in it"


def _cones(target: Target, _: float) -> float:
    """Return the limit of an angle: so many times what counts as on the target."""
    return CONES * target.cone_deg


def _down_to_nothing(_: Target, mean: float) -> float:
    """Return the limit of an amount: there the lower edge is none at all."""
    return abs(mean)


@dataclass(frozen=True, slots=True)
class Quantity:
    """What is laid along the arc.

    Attributes:
        key: Exact name in files and tables.
        label: Short name for people.
        unit: Of the values.
        decimals: How many are worth printing.
        more: What a hand above the band does, in words: the push "is …".
        less: Likewise below.
        of: From a way along the arc and the target to the values, shape (bins,).
        limit: From the target and the experts' mean over the arc to the half width beyond which a
            band is too wide to judge by. Ours.
        beyond: What such a band would let pass, in words.
        u: From a way along the arc to their standard uncertainty; None if it has none.
    """

    key: str
    label: str
    unit: str
    decimals: int
    more: str
    less: str
    of: Callable[[ArcProfile, Target], Floats]
    limit: Callable[[Target, float], float]
    beyond: str
    u: Callable[[ArcProfile], Floats] | None = None


QUANTITIES: tuple[Quantity, ...] = tuple(
    Quantity(*row)
    for row in (
        (
            "azimuth_error_deg", "azimuth error", "°", 1,
            "further outward", "less far outward", lambda arc, _: arc.azimuth_error_deg,
            _cones, FAR_OFF,
            lambda arc: arc.azimuth_u_deg,
        ),
        (
            "superior_angle_deg", "superior angle", "°", 1,
            "further upward", "further down", lambda arc, _: arc.superior_angle_deg,
            _cones, FAR_OFF,
            lambda arc: arc.superior_angle_u_deg,
        ),
        (
            "force_N", "force", "N", 1, "harder", "lighter", lambda arc, _: arc.magnitude_n,
            _down_to_nothing, "no push at all would lie in it",
            lambda arc: arc.magnitude_u_n,
        ),
        (
            "elevation_speed_deg_s", "elevation speed", "°/s", 1,
            "faster", "slower", lambda arc, _: arc.speed_deg_s,
            _down_to_nothing, "an arm at rest would lie in it",
        ),
    )
)  # fmt: skip
"""A new one is a line here, and a place in `ArcProfile` if it has none yet."""


@dataclass(frozen=True, slots=True)
class RepetitionCurves:
    """One finished repetition along the arc.

    Attributes:
        file: Name of the recording.
        person: Code, empty if none.
        number: Of the repetition in its recording.
        elevation_deg: Shape (bins,), middles of the bins.
        values: Shape (quantities, ways, bins), in the order of `QUANTITIES` and `WAYS`; NaN
            where nothing is known.
        u: Standard uncertainty of the same; NaN where there is none.
    """

    file: str
    person: str
    number: int
    elevation_deg: Floats
    values: Floats
    u: Floats


def curves_of(trial: Trial) -> tuple[RepetitionCurves, ...]:
    """Return every finished repetition of a trial as curves."""
    return tuple(_curves(trial, one) for one in trial.repetitions if one.spans.complete)


def _curves(trial: Trial, repetition: Repetition) -> RepetitionCurves:
    settings = msgspec.convert(trial.settings["measures"], MeasureSettings)
    profile = profile_of(trial.series, repetition.spans, trial.target, settings)
    values, uncertainties = [], []
    for arc in (profile.raising, profile.lowering):
        curves = np.stack([quantity.of(arc, trial.target) for quantity in QUANTITIES])
        none = np.full_like(arc.elevation_deg, np.nan)
        u = np.stack([quantity.u(arc) if quantity.u else none for quantity in QUANTITIES])
        # Without a direction there is nothing to compare, whatever force and speed say.
        curves[:, arc.directed < LEAST_S * trial.series.fs_hz] = np.nan
        values.append(curves)
        uncertainties.append(u)
    return RepetitionCurves(
        file=str(trial.recording["file"] or trial.recording["uuid"]),
        person=str(trial.recording["person"]),
        number=repetition.number,
        elevation_deg=profile.raising.elevation_deg,
        values=np.stack(values, axis=1),
        u=np.stack(uncertainties, axis=1),
    )
