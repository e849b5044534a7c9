from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis.pipeline import analyse
from analysis.reference.arc_curves import QUANTITIES
from analysis.reference.evidence import COMPARED, evidence_of
from analysis.target import Target

KEYS = [quantity.key for quantity in QUANTITIES]


def test_curves_of_a_recording_lie_where_the_hand_was(told: Callable[..., Any]) -> None:
    """The push of this invented expert is known: 30° outward, 5° down, 42 N."""
    kept = evidence_of(analyse(told(person="E01", seed=3, repetitions=2).recording))

    assert [one.number for one in kept.curves] == [1, 2]
    assert kept.person == "E01"
    for curves in kept.curves:
        on_the_way = (curves.elevation_deg > 20) & (curves.elevation_deg < 140)
        azimuth, superior, force, speed = curves.values[:, :, on_the_way]
        assert np.abs(np.mean(azimuth)) < 3.0
        assert np.mean(superior) == np.clip(np.mean(superior), -7.0, -3.0)
        assert np.abs(np.mean(force) - 42.0) < 4.0
        assert (speed > 5.0).all()


def test_the_azimuth_error_is_counted_from_the_target(told: Callable[..., Any]) -> None:
    recording = told(person="E01", seed=3, repetitions=2).recording

    one, other = (
        evidence_of(analyse(recording, Target(glide_azimuth_deg=azimuth))).curves[0].values
        for azimuth in (30.0, 20.0)
    )

    index = KEYS.index("azimuth_error_deg")
    known = np.isfinite(one[index])
    assert known.sum() > 50
    np.testing.assert_allclose((other[index] - one[index])[known], 10.0)


def test_where_the_hand_was_away_nothing_is_known(told: Callable[..., Any]) -> None:
    """T03 lets go at 55° on the way down."""
    kept = evidence_of(analyse(told(person="T03", seed=3, repetitions=1).recording))

    raised, lowered = kept.curves[0].values[KEYS.index("force_N")]
    low = kept.curves[0].elevation_deg < 40
    assert np.isfinite(raised[low]).all()
    assert np.isnan(lowered[low]).all()


def test_every_compared_measure_is_measured(told: Callable[..., Any]) -> None:
    kept = evidence_of(analyse(told(person="E01", seed=3, repetitions=2).recording))

    assert list(kept.measures[0]) == [key for key, _ in COMPARED]
    assert None not in kept.measures[0].values()
