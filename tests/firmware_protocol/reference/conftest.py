"""Builds the C side with every warning an error and both sanitizers on."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import firmware_protocol

HERE = Path(__file__).parent
REFERENCE = Path(str(firmware_protocol.__file__)).with_name("reference")
CORE = ("perpend_frame.c", "perpend_message.c", "perpend_decode.c", "perpend_table.c")
STRICT = (
    *("-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-Wconversion"),
    *("-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-g"),
)
LONGEST_S = 60.0

Ask = Callable[[str], str]
Build = Callable[..., Path]


@pytest.fixture(scope="session")
def build(tmp_path_factory: pytest.TempPathFactory) -> Build:
    """Compile sources into a program; skips where there is no compiler."""
    compiler = next(filter(None, map(shutil.which, ("cc", "gcc", "clang"))), None)
    if compiler is None:
        pytest.skip("no C compiler here (cc, gcc or clang)")
    folder = tmp_path_factory.mktemp("reference")

    def made(name: str, sources: list[Path], *options: str) -> Path:
        program = folder / name
        command = [compiler, *STRICT, f"-I{REFERENCE}", *map(str, sources), *options]
        done = subprocess.run(
            [*command, "-o", str(program)],
            capture_output=True,
            text=True,
            timeout=LONGEST_S,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return program

    return made


@pytest.fixture(scope="session")
def core() -> list[Path]:
    return [REFERENCE / name for name in CORE]


@pytest.fixture(scope="session")
def talk() -> Callable[[Path], Iterator[Ask]]:
    """Run a driver; yields how to ask it, and sees to it that no sanitizer spoke."""

    def running(program: Path) -> Iterator[Ask]:
        pipe = subprocess.PIPE
        process = subprocess.Popen([program], stdin=pipe, stdout=pipe, stderr=pipe, text=True)
        assert process.stdin is not None
        assert process.stdout is not None
        given, said = process.stdin, process.stdout

        def ask(question: str) -> str:
            given.write(question + "\n")
            given.flush()
            answer = said.readline()
            if not answer:
                _, complaint = process.communicate(timeout=LONGEST_S)
                pytest.fail(f"the C side died at {question[:200]!r}:\n{complaint}")
            return answer.strip()

        yield ask
        _, complaint = process.communicate(timeout=LONGEST_S)
        assert (process.returncode, complaint) == (0, "")

    return running


@pytest.fixture(scope="session")
def rig_ask(build: Build, core: list[Path], talk: Callable[[Path], Iterator[Ask]]) -> Iterator[Ask]:
    """The rig driver: a rig whose clock, sensors and line a test holds."""
    more = [core[0].with_name(name) for name in ("perpend_rig.c", "perpend_commands.c")]
    yield from talk(build("rig", [*core, *more, HERE / "rig_driver.c"]))


@pytest.fixture(scope="session")
def ask(build: Build, core: list[Path], talk: Callable[[Path], Iterator[Ask]]) -> Iterator[Ask]:
    """The message driver: frame, feed, hear, say, judge."""
    yield from talk(build("messages", [*core, HERE / "message_driver.c"]))
