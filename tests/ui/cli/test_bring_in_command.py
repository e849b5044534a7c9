"""``perpend bring-in`` as somebody at a terminal meets it."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquisition.csv_log import columns_for
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.main import main

ROOT = Path(__file__).resolve().parents[3]
RIG = ROOT / "acquisition" / "virtual_rig" / "rig_right.toml"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    rows = [f"{n * 5},0,0,0,0,9.81,0,0,0,0" for n in range(400)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([",".join(("t", *columns_for(3)[1:])), *rows]))
    return path


def test_a_log_becomes_a_recording_named_by_time_and_code(
    capsys: pytest.CaptureFixture[str], log: Path, tmp_path: Path
) -> None:
    argv = ["bring-in", str(log), "--rig", str(RIG), "--map", "time_s=t:ms", "--person", "T07"]

    assert main([*argv, "--out", str(tmp_path)]) == DONE

    said = capsys.readouterr()
    assert "brought in: 400 samples at 200 Hz, no gap" in said.err
    path = Path(said.out.strip())
    assert "_T07_" in path.name
    assert main(["verify", str(path)]) == DONE


def test_gaps_make_it_incomplete(
    capsys: pytest.CaptureFixture[str], log: Path, tmp_path: Path
) -> None:
    rows = log.read_text().splitlines()
    log.write_text("\n".join(rows[:100] + rows[120:]))
    out = ["--map", "time_s=t:ms", "--out", str(tmp_path / "r.h5")]

    assert main(["bring-in", str(log), "--rig", str(RIG), *out]) == INCOMPLETE
    assert "gaps: 1 (20 samples)" in capsys.readouterr().err


def test_a_missing_column_is_one_line(
    capsys: pytest.CaptureFixture[str], log: Path, tmp_path: Path
) -> None:
    out = ["--out", str(tmp_path / "r.h5")]

    assert main(["bring-in", str(log), "--rig", str(RIG), *out]) == FAILED

    said = capsys.readouterr().err
    assert f"perpend bring-in: {log}: line 1: column 'time_s' is missing; found t, fx_n" in said
    assert said.count("\n") == 1
