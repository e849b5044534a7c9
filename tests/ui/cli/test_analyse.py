"""``perpend analyse``: the JSON that programs read, the table that people read."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE

Perpend = Callable[..., Any]
PHASE_KEYS = {
    "force_mean_N", "force_sd_N", "force_cv_percent", "force_detrended_sd_N",
    "force_in_band_percent", "glide_mean_N", "azimuth_mean_deg", "azimuth_error_mean_deg",
    "superior_angle_mean_deg", "superior_angle_p95_deg", "superior_force_mean_N",
    "superior_force_p95_N", "superior_drift_deg_per_10deg", "superior_drift_deg",
    "off_axis_mean_deg", "off_axis_rms_deg", "off_axis_p95_deg", "direction_dispersion_deg",
    "direction_kappa", "on_target_percent", "hold_coverage_percent", "valid_percent",
    "missing_percent", "saturated_percent", "azimuth_u_deg", "superior_angle_u_deg",
    "off_axis_u_deg", "force_u_N", "glide_u_N", "superior_force_u_N", "contact_shift_mm",
}  # fmt: skip
REPETITION_KEYS = {
    "side", "start_s", "top_s", "end_s", "complete", "elevation_top_deg", "raise_duration_s",
    "lower_duration_s", "elevation_speed_mean_deg_s", "elevation_speed_peak_deg_s",
    "smoothness_sparc", "smoothness_ldlj", "time_to_hold_s", "released_before_down",
    "release_elevation_deg", "elevation_top_u_deg", "release_elevation_u_deg",
}  # fmt: skip


@pytest.fixture
def result(perpend: Perpend, recorded: Path) -> dict[str, Any]:
    said = perpend("analyse", recorded, "--json")
    assert said.code == DONE
    plain: dict[str, Any] = json.loads(said.out)
    return plain


def test_json_has_at_least_the_agreed_keys(result: dict[str, Any]) -> None:
    """Those of design section 6; measures may be added, none may go or be renamed."""
    (repetition,) = result["repetitions"]

    assert {"recording", "target", "repetitions"} <= result.keys()
    assert repetition.keys() >= REPETITION_KEYS
    assert list(repetition["phases"]) == ["raise", "lower", "movement"]
    for phase in repetition["phases"].values():
        assert phase.keys() >= PHASE_KEYS


def test_a_measure_that_cannot_be_had_is_null_with_a_reason(result: dict[str, Any]) -> None:
    phase = result["repetitions"][0]["phases"]["raise"]

    missing = {key for key, value in phase.items() if value is None}

    assert "contact_shift_mm" in missing  # a three-axis cell
    assert phase["reasons"].keys() == missing


def test_the_invented_fault_is_found(result: dict[str, Any]) -> None:
    """T01's hand rides up by 1.2 degrees in 10, says the file of invented people."""
    phase = result["repetitions"][0]["phases"]["raise"]

    assert math.isclose(phase["superior_drift_deg_per_10deg"], 1.2, abs_tol=0.1)


def test_another_target_is_measured_against(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    target = tmp_path / "target.toml"
    target.write_text("glide_azimuth_deg = 40.0\n", encoding="utf-8")

    said = perpend("analyse", recorded, "--target", target, "--json")

    phase = json.loads(said.out)["repetitions"][0]["phases"]["movement"]
    assert math.isclose(phase["azimuth_error_mean_deg"], phase["azimuth_mean_deg"] - 40.0)


def test_the_table_names_the_one_thing_to_change(perpend: Perpend, recorded: Path) -> None:
    said = perpend("analyse", recorded)

    assert said.code == DONE
    assert "change first: Your hand slips upward" in said.out
    assert "± " in said.out


def test_a_bad_file_among_several_is_skipped_and_told(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    empty = tmp_path / "empty.h5"
    empty.touch()

    said = perpend("analyse", recorded, empty, "--json")

    assert said.code == INCOMPLETE
    assert [one["recording"]["file"] for one in json.loads(said.out)] == [recorded.name]
    assert said.err.startswith(f"perpend analyse: skipped {empty}")
    assert said.err.count("\n") == 1


def test_if_every_file_is_bad_it_has_failed(perpend: Perpend, tmp_path: Path) -> None:
    for name in ("a.h5", "b.h5"):
        (tmp_path / name).write_bytes(b"no recording")

    said = perpend("analyse", tmp_path, "--json")

    assert said.code == FAILED
    assert json.loads(said.out) == []
    assert said.err.count("skipped") == 2


def test_a_folder_stands_for_its_recordings_each_once(
    perpend: Perpend, recorded: Path, tmp_path: Path
) -> None:
    inside = tmp_path / "class"
    inside.mkdir()
    shutil.copy(recorded, inside / "one.h5")
    shutil.copy(recorded, inside / "two.h5")

    said = perpend("analyse", inside, inside / "two.h5", "--json")

    assert [one["recording"]["file"] for one in json.loads(said.out)] == ["one.h5", "two.h5"]


def test_an_empty_folder_is_told(perpend: Perpend, tmp_path: Path) -> None:
    said = perpend("analyse", tmp_path)

    assert said.code == FAILED
    assert "holds no recording" in said.err


def test_the_profile_along_the_arc_comes_when_asked_for(
    perpend: Perpend, recorded: Path, result: dict[str, Any]
) -> None:
    said = perpend("analyse", recorded, "--json", "--profile")

    (repetition,) = json.loads(said.out)["repetitions"]
    profile = repetition.pop("profile")
    assert [repetition] == result["repetitions"]
    counted = sum(profile["raise"]["directed"]) + sum(profile["lower"]["directed"])
    assert counted > 1000
    known = [one for one in profile["raise"]["superior_angle_deg"] if one is not None]
    assert known[-2] - known[1] > 10.0  # T01's hand rides up


def test_the_profile_alone_is_refused(perpend: Perpend, recorded: Path) -> None:
    said = perpend("analyse", recorded, "--profile")

    assert said.code == FAILED
    assert "--json" in said.err
