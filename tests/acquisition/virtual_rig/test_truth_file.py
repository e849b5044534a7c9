from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from acquisition.errors import AcquisitionError
from acquisition.virtual_rig import VirtualRig
from acquisition.virtual_rig.truth_file import write_truth

MakeRig = Callable[..., VirtualRig]


def test_truth_speaks_the_terms_of_the_analysis(make_rig: MakeRig) -> None:
    rig = make_rig("T01", plane_deg=30.0)
    truth = rig.truth(np.arange(0.0, rig.duration_s, 0.01))
    on, up = truth.contact, truth.elevation_rad > 1e-6
    fx, fy, fz = truth.force_n.T

    assert np.isfinite(truth.azimuth_rad).tolist() == on.tolist()
    assert truth.magnitude_n[on] * np.sin(truth.superior_angle_rad[on]) == pytest.approx(fy[on])
    assert np.tan(truth.azimuth_rad[on]) == pytest.approx(-fz[on] / fx[on])
    assert np.rad2deg(truth.plane_rad[up]) == pytest.approx(np.full(up.sum(), 30.0))
    assert not truth.magnitude_n[~on].any()
    assert truth.repetition.max() == len(truth.repetitions) == 3


def test_a_table_has_one_row_for_each_time_and_names_its_units(
    make_rig: MakeRig, tmp_path: Path
) -> None:
    rig = make_rig("E01", repetitions=1)
    path = tmp_path / "truth.csv"

    write_truth(path, rig, rate_hz=50.0)

    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    truth = rig.truth(np.arange(len(rows)) / 50.0)
    assert len(rows) == np.ceil(rig.duration_s * 50.0)
    assert [float(row["magnitude_n"]) for row in rows] == pytest.approx(truth.magnitude_n, abs=1e-6)
    assert [float(row["elevation_deg"]) for row in rows] == pytest.approx(
        np.rad2deg(truth.elevation_rad), abs=1e-6
    )
    assert {row["phase"] for row in rows} == {"rest", "setup", "raise", "top", "lower", "release"}
    assert rows[0]["azimuth_deg"] == ""
    assert float(next(row for row in rows if row["phase"] == "top")["azimuth_deg"]) > 20


def test_a_document_has_the_bounds_of_the_repetitions_and_no_nan(
    make_rig: MakeRig, tmp_path: Path
) -> None:
    rig = make_rig("T03", "left", 6, repetitions=2)
    path = tmp_path / "truth.json"

    write_truth(path, rig, rate_hz=20.0)

    document = json.loads(path.read_text(encoding="utf-8"), parse_constant=pytest.fail)
    bounds = document["repetitions"]
    assert (document["trainee"], document["side"], document["seed"]) == ("T03", "left", 7)
    assert [one["number"] for one in bounds] == [1, 2]
    assert all(one["raise_start_s"] < one["home_s"] for one in bounds)
    assert max(document["series"]["elevation_deg"]) == pytest.approx(
        max(one["top_deg"] for one in bounds), abs=0.1
    )
    assert document["series"]["superior_angle_deg"][0] is None


def test_nothing_is_overwritten(make_rig: MakeRig, tmp_path: Path) -> None:
    path = tmp_path / "truth.csv"
    path.write_text("precious", encoding="utf-8")

    with pytest.raises(AcquisitionError, match="exists and is left alone"):
        write_truth(path, make_rig(repetitions=1))

    assert path.read_text(encoding="utf-8") == "precious"


def test_another_suffix_a_missing_folder_or_no_end_is_one_clear_line(
    make_rig: MakeRig, tmp_path: Path
) -> None:
    with pytest.raises(AcquisitionError, match=r"\.csv or a \.json"):
        write_truth(tmp_path / "truth.txt", make_rig())
    with pytest.raises(AcquisitionError, match="cannot be written"):
        write_truth(tmp_path / "nowhere" / "truth.csv", make_rig(repetitions=1))
    with pytest.raises(AcquisitionError, match="endless trial"):
        write_truth(tmp_path / "truth.csv", make_rig(repetitions=None))


def test_an_endless_trial_can_be_written_up_to_a_time(make_rig: MakeRig, tmp_path: Path) -> None:
    path = tmp_path / "truth.csv"

    write_truth(path, make_rig(repetitions=None), rate_hz=10.0, until_s=12.0)

    assert len(path.read_text(encoding="utf-8").splitlines()) == 121
