"""The tables: exact keys, one sentence for each, and never a missing value without a reason."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES, measure_repetitions
from analysis.repetitions import find_repetitions
from analysis.target import Target
from analysis.trial import Measured, PhaseName

Floats = NDArray[np.float64]
Maker = Callable[..., Any]

PHASE_KEYS = [
    "force_mean_N", "force_sd_N", "force_cv_percent", "force_detrended_sd_N",
    "force_tremor_rms_N", "force_in_band_percent", "glide_mean_N", "azimuth_mean_deg",
    "azimuth_error_mean_deg", "superior_angle_mean_deg", "superior_angle_p95_deg",
    "superior_force_mean_N", "superior_force_p95_N", "superior_drift_deg_per_10deg",
    "superior_drift_deg", "off_axis_mean_deg", "off_axis_rms_deg", "off_axis_p95_deg",
    "direction_dispersion_deg", "direction_kappa", "direction_cone95_deg", "on_target_percent",
    "hold_coverage_percent", "valid_percent", "gated_percent", "missing_percent",
    "saturated_percent", "force_u_N", "glide_u_N", "superior_force_u_N", "azimuth_u_deg",
    "superior_angle_u_deg", "off_axis_u_deg",
    "contact_shift_mm", "stabiliser_present", "stabiliser_force_mean_N",
    "stabiliser_coverage_percent",
]  # fmt: skip
REPETITION_KEYS = [
    "side", "start_s", "top_s", "end_s", "complete", "elevation_top_deg", "elevation_top_u_deg",
    "raise_duration_s",
    "lower_duration_s", "elevation_speed_mean_deg_s", "elevation_speed_peak_deg_s",
    "smoothness_sparc", "smoothness_ldlj", "time_to_hold_s", "released_before_down",
    "release_elevation_deg", "release_elevation_u_deg",
]  # fmt: skip
UNITS = {"_N": "N", "_percent": "%", "_deg_s": "°/s", "_per_10deg": "°/10°", "_deg": "°"}
UNITS |= {"_mm": "mm", "_s": "s"}


def test_the_keys_are_exact_and_in_order() -> None:
    assert [measure.key for measure in PHASE_MEASURES] == PHASE_KEYS
    assert [measure.key for measure in REPETITION_MEASURES] == REPETITION_KEYS


@pytest.mark.parametrize("measure", [*PHASE_MEASURES, *REPETITION_MEASURES], ids=lambda m: m.key)
def test_every_measure_says_what_it_is(measure: Any) -> None:
    unit = next((unit for end, unit in UNITS.items() if measure.key.endswith(end)), "")

    assert measure.label
    assert measure.unit == unit
    assert measure.decimals >= 0
    assert measure.meaning[0].isupper()
    assert measure.meaning.endswith(".")
    assert measure.meaning.count(". ") == 0, "one sentence"


def complete_or_reasoned(measured: Measured, keys: list[str]) -> bool:
    missing = {key for key, value in measured.values.items() if value is None}
    return list(measured.values) == keys and set(measured.reasons) == missing


@settings(deadline=None, max_examples=25)
@given(data=st.data())
def test_whatever_is_lost_a_missing_value_has_its_reason(
    series: Maker, elevation: Floats, data: st.DataObject
) -> None:
    """Stretches without force, elevation or contact, anywhere; the JSON has no NaN in it."""
    count = len(elevation)
    arc, push = elevation.copy(), np.tile(40.0 * Target().direction, (count, 1))
    places = st.tuples(st.integers(0, count), st.integers(0, 800))
    for array in (arc, push):
        for at, length in data.draw(st.lists(places, max_size=3)):
            array[at : at + length] = np.nan
    for at, length in data.draw(st.lists(places, max_size=3)):
        push[at : at + length] = 0.0
    with np.errstate(invalid="ignore"):
        made = series(arc, push)
    made = replace(made, directed=made.directed & np.isfinite(arc))

    for one in measure_repetitions(made, find_repetitions(made), Target(), side="right"):
        json.dumps(one.to_dict(), allow_nan=False)
        assert complete_or_reasoned(one.measured, REPETITION_KEYS)
        assert list(one.phases) == list(PhaseName)
        for measured in one.phases.values():
            assert complete_or_reasoned(measured, PHASE_KEYS)
            assert all(reason.strip() for reason in measured.reasons.values())


def test_repetitions_are_numbered_from_one(series: Maker, elevation: Floats) -> None:
    made = series(np.concatenate([elevation, elevation]))

    found = measure_repetitions(made, find_repetitions(made), Target(), side="left")

    assert [one.number for one in found] == [1, 2]
    assert {one.measured.values["side"] for one in found} == {"left"}
