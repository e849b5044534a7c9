"""The commands as somebody at a terminal meets them."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE, USAGE
from ui.cli.main import VERBS, main

PHASE_KEYS = {
    "force_mean_N", "force_sd_N", "force_cv_percent", "force_detrended_sd_N",
    "force_in_band_percent", "glide_mean_N", "azimuth_mean_deg", "azimuth_error_mean_deg",
    "superior_angle_mean_deg", "superior_angle_p95_deg", "superior_force_mean_N",
    "superior_force_p95_N", "superior_drift_deg_per_10deg", "superior_drift_deg",
    "off_axis_mean_deg", "off_axis_rms_deg", "off_axis_p95_deg", "direction_dispersion_deg",
    "direction_kappa", "on_target_percent", "hold_coverage_percent", "valid_percent",
    "missing_percent", "saturated_percent", "azimuth_u_deg", "superior_angle_u_deg",
    "off_axis_u_deg", "contact_shift_mm",
}  # fmt: skip
REPETITION_KEYS = {
    "side", "start_s", "top_s", "end_s", "complete", "elevation_top_deg", "raise_duration_s",
    "lower_duration_s", "elevation_speed_mean_deg_s", "elevation_speed_peak_deg_s",
    "smoothness_sparc", "smoothness_ldlj", "time_to_hold_s", "released_before_down",
    "release_elevation_deg",
}  # fmt: skip


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    code = main(list(argv))
    said = capsys.readouterr()
    return code, said.out, said.err


def analysed(capsys: pytest.CaptureFixture[str], path: Path) -> dict[str, Any]:
    code, out, _ = run(capsys, "analyse", str(path), "--json")
    assert code == DONE
    result: dict[str, Any] = json.loads(out)
    return result


def test_json_has_exactly_the_agreed_keys(
    capsys: pytest.CaptureFixture[str], recorded: Path
) -> None:
    result = analysed(capsys, recorded)

    assert {"recording", "target", "repetitions"} <= result.keys()
    (repetition,) = result["repetitions"]
    assert repetition.keys() - {"reasons", "phases", "repetition"} == REPETITION_KEYS
    assert list(repetition["phases"]) == ["raise", "lower", "movement"]
    for phase in repetition["phases"].values():
        assert phase.keys() - {"reasons"} == PHASE_KEYS


def test_a_measure_that_cannot_be_had_is_null_with_a_reason(
    capsys: pytest.CaptureFixture[str], recorded: Path
) -> None:
    phase = analysed(capsys, recorded)["repetitions"][0]["phases"]["raise"]

    missing = {key for key, value in phase.items() if value is None}

    assert missing == {"contact_shift_mm"}
    assert phase["reasons"].keys() == missing


def test_the_invented_fault_is_found(capsys: pytest.CaptureFixture[str], recorded: Path) -> None:
    """T01's hand rides up by 1.2 degrees in 10, says the file of invented people."""
    phase = analysed(capsys, recorded)["repetitions"][0]["phases"]["raise"]

    assert math.isclose(phase["superior_drift_deg_per_10deg"], 1.2, abs_tol=0.1)


def test_the_table_names_the_one_thing_to_change(
    capsys: pytest.CaptureFixture[str], recorded: Path
) -> None:
    code, out, _ = run(capsys, "analyse", str(recorded))

    assert code == DONE
    assert "change first: Your hand slips upward" in out
    assert "± " in out


def test_a_bad_file_among_several_is_skipped_and_told(
    capsys: pytest.CaptureFixture[str], recorded: Path, tmp_path: Path
) -> None:
    empty = tmp_path / "empty.h5"
    empty.touch()

    code, out, err = run(capsys, "analyse", str(recorded), str(empty), "--json")

    assert code == INCOMPLETE
    assert len(json.loads(out)) == 1
    assert "empty.h5" in err


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (["analyse", "none.h5"], "none.h5"),
        (["record", "--port", "serial:/dev/nothing0", "--rig", "rig.toml"], "rig.toml"),
        (["record", "--port", "serial:/dev/nothing0"], "--rig"),
        (["record", "--port", "carrier:pigeon"], "carrier"),
        (["record", "--port", "virtual:?trainee=X99"], "X99"),
        (["record", "--port", "virtual:?trainee=E01", "--person", "Anna"], "Anna"),
        (["analyse", "none.h5", "--target", "none.toml"], "none.toml"),
        (["simulate", "--pty", "--trainee", "X99"], "X99"),
        (["live", "--port", "virtual:?seed=x"], "seed"),
    ],
)
def test_bad_input_ends_in_one_clear_line(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    argv: list[str],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)

    code, out, err = run(capsys, *argv)

    assert code == FAILED
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith(f"perpend {argv[0]}: ")
    assert told in err
    assert list(tmp_path.iterdir()) == []


def test_an_empty_file_and_a_foreign_file_are_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for name, content in (("empty.h5", b""), ("text.h5", b"not a recording\n" * 100)):
        path = tmp_path / name
        path.write_bytes(content)

        code, _, err = run(capsys, "info", str(path))

        assert code == FAILED
        assert name in err
        assert path.read_bytes() == content


def test_without_a_verb_it_says_how_to_use_it(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys)

    assert code == USAGE
    assert "usage: perpend" in err


def test_an_unknown_option_is_wrong_usage() -> None:
    with pytest.raises(SystemExit) as caught:
        main(["analyse", "--nonsense"])

    assert caught.value.code == USAGE


def test_record_makes_a_name_and_reads_back_what_it_wrote(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    code, out, err = run(
        capsys, "record", "--port", "virtual:?trainee=E01&seed=1&speed=max", "--seconds", "3",
        "--out", str(tmp_path), "--person", "E01",
    )  # fmt: skip

    assert code == DONE
    assert "saved and checked" in err
    (path,) = tmp_path.iterdir()
    assert out.strip() == str(path)
    assert "_E01_" in path.name


def test_record_never_overwrites(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    taken = tmp_path / "mine.h5"
    taken.write_text("precious")

    code, _, err = run(
        capsys, "record", "--port", "virtual:?speed=max", "--seconds", "1", "--out", str(taken)
    )

    assert code == FAILED
    assert "mine.h5" in err
    assert taken.read_text() == "precious"


def test_lost_samples_end_in_their_own_exit_code(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    code, _, err = run(
        capsys, "record", "--port", "virtual:?trainee=E01&speed=max&faults=loss:0.05",
        "--seconds", "3", "--out", str(tmp_path),
    )  # fmt: skip

    assert code == INCOMPLETE
    assert "samples lost" in err


def test_info_tells_what_is_in_a_file(capsys: pytest.CaptureFixture[str], recorded: Path) -> None:
    code, out, _ = run(capsys, "info", str(recorded), "--json")

    facts = json.loads(out)
    assert code == DONE
    assert facts["status"] == "complete"
    assert facts["streams"]["force"]["channels"] == ["fx", "fy", "fz"]


def test_ports_says_who_answers(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "ports", "--probe", "virtual:?trainee=E01", "--json")

    asked = [entry for entry in json.loads(out) if entry["url"].startswith("virtual:")]
    assert code == DONE
    assert asked[0]["rig"] == "R01"


def test_demo_goes_the_whole_way(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, _ = run(capsys, "demo", "--out", str(tmp_path), "--seed", "3")

    assert code == DONE
    report = Path(out.strip().splitlines()[-1].split()[-1])
    assert report.parent == tmp_path
    assert "Direction of the push" in report.read_text(encoding="utf-8")


def test_help_loads_the_standard_library_only() -> None:
    """A heavy import on the way to --help would be felt at every use."""
    code = (
        "import sys\n"
        "from ui.cli.main import build_parser\n"
        "build_parser().format_help()\n"
        "heavy = {'numpy', 'scipy', 'h5py', 'rich', 'msgspec', 'matplotlib', 'jinja2', 'serial',"
        " 'PySide6', 'vqf'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )

    done = subprocess.run(  # noqa: S603, RUF100 - our own interpreter
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )

    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("verb", [name for name, _ in VERBS])
def test_every_verb_explains_itself(capsys: pytest.CaptureFixture[str], verb: str) -> None:
    with pytest.raises(SystemExit) as caught:
        main([verb, "--help"])

    assert caught.value.code == DONE
    assert f"usage: perpend {verb}" in capsys.readouterr().out
