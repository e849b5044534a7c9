"""``perpend salvage`` as somebody at a terminal meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

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
