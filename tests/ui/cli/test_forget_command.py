"""``perpend forget`` as somebody at a terminal meets it."""

from __future__ import annotations

from pathlib import Path

import pytest

from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.main import main


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    port = ["--port", "virtual:?trainee=T01&reps=1&speed=max", "--seconds", "0.5"]
    for person in ("T07", "E02"):
        assert main(["record", *port, "--person", person, "--out", str(tmp_path)]) == DONE
    return tmp_path


def test_it_lists_and_changes_nothing_without_a_yes(
    capsys: pytest.CaptureFixture[str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    capsys.readouterr()

    assert main(["forget", "T07", str(folder)]) == FAILED

    said = capsys.readouterr()
    assert said.out.startswith("recording: ")
    assert "nothing was changed; with --yes these would be deleted for good" in said.err
    assert len(list(folder.rglob("*.h5"))) == 2


@pytest.mark.parametrize(("typed", "left", "code"), [("T07", 1, DONE), ("y", 2, FAILED)])
def test_on_a_terminal_the_code_must_be_typed(
    folder: Path, monkeypatch: pytest.MonkeyPatch, typed: str, left: int, code: int
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: typed)

    assert main(["forget", "T07", str(folder)]) == code
    assert len(list(folder.rglob("*.h5"))) == left


def test_recoding_says_the_new_files(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    capsys.readouterr()

    assert main(["forget", "T07", str(folder), "--recode", "T90", "--yes"]) == DONE

    said = capsys.readouterr()
    assert "_T90_" in said.out
    assert "nothing of T07 is left" in said.err
    assert main(["forget", "T07", str(folder), "--yes"]) == FAILED
    assert "holds no recording of T07" in capsys.readouterr().err


def test_a_file_it_cannot_judge_makes_it_incomplete(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    (folder / "bad.h5").touch()

    assert main(["forget", "T07", str(folder), "--yes"]) == INCOMPLETE
    assert "bad.h5 cannot be read: is empty" in capsys.readouterr().out


@pytest.mark.parametrize("code", ["../x", "Jane"])
def test_what_is_no_code_is_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, code: str
) -> None:
    assert main(["forget", code, str(tmp_path), "--yes"]) == FAILED
    assert capsys.readouterr().err.count("\n") == 1
