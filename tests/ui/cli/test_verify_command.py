"""``perpend verify`` as somebody at a terminal meets it."""

from __future__ import annotations

import json
from pathlib import Path

import h5py
import pytest

from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.main import main


def test_a_whole_recording_is_called_so(capsys: pytest.CaptureFixture[str], recorded: Path) -> None:
    assert main(["verify", str(recorded)]) == DONE
    assert capsys.readouterr().out.startswith(f"{recorded}: whole (")


def test_one_bit_changed_afterwards_is_found_and_placed(
    capsys: pytest.CaptureFixture[str], recorded: Path, tmp_path: Path
) -> None:
    harmed = tmp_path / "harmed.h5"
    data = bytearray(recorded.read_bytes())
    with h5py.File(recorded) as file:
        counts = file["streams/force/counts"]
        data[counts.id.get_chunk_info(counts.id.get_num_chunks() // 2).byte_offset + 40] ^= 1
    harmed.write_bytes(data)

    assert main(["verify", str(recorded), str(harmed), "--json"]) == FAILED

    whole, wrong = json.loads(capsys.readouterr().out)
    assert whole["verdict"] == "whole"
    assert wrong["verdict"] == "not whole"
    assert any("do not fit their checksum" in fault for fault in wrong["faults"])
    assert any("something was changed afterwards" in fault for fault in wrong["faults"])


def test_lost_samples_are_incomplete_not_wrong(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = tmp_path / "lossy.h5"
    url = "virtual:?trainee=T01&reps=1&speed=max&faults=loss:0.01"
    assert main(["record", "--port", url, "--seconds", "3", "--out", str(out)]) == INCOMPLETE
    capsys.readouterr()

    assert main(["verify", str(out)]) == INCOMPLETE

    said = capsys.readouterr().out.splitlines()
    assert ": incomplete (" in said[0]
    assert "samples were lost on the line" in said[1]


def test_what_is_not_there_is_one_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["verify", str(tmp_path / "x.h5")]) == FAILED
    assert "wrong: no such file" in capsys.readouterr().out
