"""The series as columns."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from analysis.export.channels import CHANNELS, columns_of
from analysis.trial import Trial

SUFFIX = {"s": "_s", "N": "_N", "deg": "_deg", "deg/s": "_deg_s", "mm": "_mm", "": ""}


def test_names_carry_their_units_and_differ() -> None:
    names = [one.name for one in CHANNELS]

    assert len(set(names)) == len(names)
    assert all(re.search(f"{SUFFIX[one.unit]}$", one.name) for one in CHANNELS)


def test_a_push_too_light_has_no_angle_but_has_a_force(trial: Trial) -> None:
    found = {channel.name: values for channel, values in columns_of(trial.series)}
    directed, known = trial.series.directed, np.isfinite(trial.series.force_n).all(axis=1)

    assert np.array_equal(np.isfinite(found["azimuth_deg"]), directed)
    assert np.array_equal(np.isfinite(found["force_N"]), known)
    assert np.count_nonzero(known & ~directed) > 1000


def test_what_a_rig_cannot_tell_is_no_column(trial: Trial) -> None:
    three_axes = replace(trial.series, contact_point_m=None)

    told = {channel.name for channel, _ in columns_of(trial.series)}
    names = {channel.name for channel, _ in columns_of(three_axes)}

    assert {"contact_x_mm", "contact_y_mm", "contact_z_mm"} == told - names
    assert "stabiliser_N" not in told


def test_the_pose_has_its_uncertainty_where_it_is_known(trial: Trial) -> None:
    found = {channel.name: values for channel, values in columns_of(trial.series)}
    unknown = {channel.name for channel, _ in columns_of(replace(trial.series, sources=None))}

    for name in ("elevation", "plane"):
        known = np.isfinite(found[f"{name}_deg"])
        assert known.any()
        assert np.isfinite(found[f"{name}_u_deg"][known]).all()
        assert (found[f"{name}_u_deg"][known] > 0.3).all()
    assert {"elevation_u_deg", "plane_u_deg"} == found.keys() - unknown
