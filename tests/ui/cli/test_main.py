"""The command as a whole: help, exit codes, errors in one line."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ui.cli import main as command
from ui.cli.exit_codes import DONE, FAILED, INTERRUPTED, MEANINGS, USAGE
from ui.cli.main import VERBS, build_parser, main, one_line

Perpend = Callable[..., Any]
CLI = Path(command.__file__).parent


def test_help_loads_the_standard_library_and_ui_only() -> None:
    """A heavy import on the way to --help would be felt at every use."""
    code = (
        "import sys\n"
        "before = set(sys.modules)\n"
        "from ui.cli.main import build_parser\n"
        "build_parser().format_help()\n"
        "loaded = {name.split('.')[0] for name in set(sys.modules) - before}\n"
        "print(sorted(loaded - sys.stdlib_module_names))\n"
    )

    done = subprocess.run(  # noqa: S603, RUF100 - our own interpreter
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )

    assert done.stdout.strip() == "['ui']"


def test_help_names_every_verb_and_every_exit_code() -> None:
    text = build_parser().format_help()

    assert [name for name, _ in VERBS if name not in text] == []
    for code, meaning in MEANINGS.items():
        assert f"{code:3}  {meaning}" in text


@pytest.mark.parametrize("verb", [name for name, _ in VERBS])
def test_every_verb_explains_itself(capsys: pytest.CaptureFixture[str], verb: str) -> None:
    with pytest.raises(SystemExit) as caught:
        main([verb, "--help"])

    assert caught.value.code == DONE
    assert f"usage: perpend {verb}" in capsys.readouterr().out


def test_version_names_the_program(perpend: Perpend) -> None:
    said = perpend("--version")

    assert said.code == DONE
    assert said.out.startswith("perpend ")


def test_without_a_verb_it_says_how_to_use_it(perpend: Perpend) -> None:
    said = perpend()

    assert said.code == USAGE
    assert "usage: perpend" in said.err
    assert said.out == ""


def test_an_unknown_option_is_wrong_usage() -> None:
    with pytest.raises(SystemExit) as caught:
        main(["analyse", "--nonsense"])

    assert caught.value.code == USAGE


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["analyse", "none.h5"], "none.h5"),
        (["record", "--port", "serial:/dev/nothing0", "--rig", "rig.toml"], "rig.toml"),
        (["record", "--port", "serial:/dev/nothing0"], "/dev/nothing0"),
        (["record", "--port", "carrier:pigeon"], "carrier"),
        (["record", "--port", "carrier:pigeon", "--rig", "rig.toml"], "carrier"),
        (["record", "--port", "virtual:?trainee=X99"], "X99"),
        (["record", "--port", "virtual:?trainee=E01", "--person", "Anna"], "Anna"),
        (["record", "--port", "virtual:?trainee=E01", "--seconds", "0"], "--seconds"),
        (["record", "--port", "virtual:?trainee=E01", "--out", "nowhere/a.h5"], "nowhere"),
        (["record", "--port", "replay:none.h5"], "none.h5"),
        (["analyse", "none.h5", "--target", "none.toml"], "none.toml"),
        (["report", "none.h5", "--out", "nowhere"], "nowhere"),
        (["simulate", "--pty", "--trainee", "X99"], "X99"),
        (["demo", "--trainee", "X99"], "X99"),
        (["demo", "--live", "--trainee", "X99"], "X99"),
        (["live", "--port", "virtual:?seed=x"], "seed"),
        (["live", "--port", "virtual:", "--out", "nowhere"], "nowhere"),
    ],
)
def test_bad_input_ends_in_one_clear_line_and_writes_nothing(
    perpend: Perpend, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, words: list[str], told: str
) -> None:
    monkeypatch.chdir(tmp_path)

    said = perpend(*words)

    assert said.code == FAILED
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert said.err.startswith(f"perpend {words[0]}: ")
    assert told in said.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words", [["--debug", "info", "none.h5"], ["info", "none.h5", "--verbose"]]
)
def test_debug_shows_where_an_error_comes_from(words: list[str]) -> None:
    with pytest.raises(Exception, match=r"none\.h5"):
        main(words)


def test_an_error_that_is_ours_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bug is no answer to a person: it must be seen whole."""
    monkeypatch.setattr("ui.cli.info.recordings_in", lambda *_, **__: 1 / 0)

    with pytest.raises(ZeroDivisionError):
        main(["info", "a.h5"])


def test_ctrl_c_has_its_own_exit_code(perpend: Perpend, monkeypatch: pytest.MonkeyPatch) -> None:
    def press(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("ui.cli.info.recordings_in", press)

    said = perpend("info", "a.h5")

    assert (said.code, said.err) == (INTERRUPTED, "perpend info: interrupted\n")


def test_an_error_of_the_system_names_the_file_and_no_number() -> None:
    assert one_line(PermissionError(13, "Permission denied", "a.h5")) == "a.h5: Permission denied"
    assert one_line(OSError("first\nsecond")) == "first second"


@pytest.mark.parametrize("verb", ["analyse", "info"])
def test_a_reader_that_has_enough_ends_it_quietly(recorded: Path, verb: str) -> None:
    """As ``perpend analyse FILE --json | head -1`` does; long results and short ones."""
    child = subprocess.Popen(  # noqa: S603, RUF100 - our own interpreter
        [sys.executable, "-c", "from ui.cli.main import run; run()", verb, recorded, "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stdout is not None
    child.stdout.close()

    assert child.stderr is not None
    with child, child.stderr as errors:
        said = errors.read()

    assert child.wait() == DONE
    assert said == b""


def test_a_terminal_without_the_signs_still_gets_the_numbers(
    monkeypatch: pytest.MonkeyPatch, recorded: Path
) -> None:
    plain = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr(sys, "stdout", plain)
    monkeypatch.setattr(sys, "argv", ["perpend", "analyse", str(recorded)])

    with pytest.raises(SystemExit) as caught:
        command.run()

    plain.flush()
    assert caught.value.code == DONE
    assert b"? +" in plain.buffer.getvalue()


def test_every_verb_has_a_line_in_the_table() -> None:
    """A verb that is not listed cannot be called."""
    modules = {path.stem for path in CLI.glob("*.py") if "def run(args" in path.read_text("utf-8")}

    assert modules == {name.replace("-", "_") for name, _ in VERBS}
