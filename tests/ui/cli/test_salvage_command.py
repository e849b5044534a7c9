"""``perpend salvage`` as somebody at a terminal meets it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from acquisition.recording.reader import read_recording
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.main import main


def test_a_cut_file_is_saved_and_can_be_measured(
    capsys: pytest.CaptureFixture[str], recorded: Path, tmp_path: Path
) -> None:
    cut, new = tmp_path / "cut.h5", tmp_path / "new.h5"
    data = recorded.read_bytes()
    cut.write_bytes(data[: len(data) * 9 // 10])
    assert main(["info", str(cut)]) == FAILED
    capsys.readouterr()

    assert main(["salvage", str(cut), "--out", str(new)]) == INCOMPLETE

    said = capsys.readouterr()
    assert said.out.strip() == str(new)
    assert "kept: " in said.err
    assert "lost: " in said.err
    assert cut.read_bytes() == data[: len(data) * 9 // 10]
    assert main(["verify", str(new)]) == INCOMPLETE
    assert main(["analyse", str(new), "--json"]) == DONE


def test_nothing_lost_is_done(
    capsys: pytest.CaptureFixture[str], recorded: Path, tmp_path: Path
) -> None:
    argv = ["salvage", str(recorded), "--out", str(tmp_path / "new.h5"), "--json"]

    assert main(argv) == DONE
    assert json.loads(capsys.readouterr().out)["lost"] == []
    assert main(argv) == FAILED
    assert "exists already; choose another name" in capsys.readouterr().err


def test_what_the_raw_log_holds_can_be_recorded_anew(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The file has a harmed stretch, the bytes of the line have none."""
    whole, cut = tmp_path / "whole.h5", tmp_path / "cut.h5"
    port = "virtual:?trainee=T01&reps=1&speed=max"
    record = ["record", "--seconds", "3", "--raw-log", "--out", str(whole), "--port", port]
    assert main(record) == DONE
    data = bytearray(whole.read_bytes())
    counts = read_recording(whole).streams["force"].counts
    at = data.index(counts[1000:1010].tobytes())
    data[at : at + 50] = bytes(50)
    cut.write_bytes(data)
    whole.with_suffix(".raw").rename(cut.with_suffix(".raw"))
    new, anew = tmp_path / "new.h5", tmp_path / "anew.h5"
    capsys.readouterr()

    assert main(["salvage", str(cut), "--out", str(new)]) == INCOMPLETE
    again = f"replay:{new}?speed=max&raw=yes"
    assert f'perpend record --port "{again}" --out NEW' in capsys.readouterr().err
    assert main(["record", "--port", again, "--out", str(anew)]) == DONE

    first, second = (read_recording(path).streams["force"] for path in (whole, anew))
    assert len(read_recording(new).streams["force"].counts) < len(first.counts)
    assert np.array_equal(second.counts, first.counts)
