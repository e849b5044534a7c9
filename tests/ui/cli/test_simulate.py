"""``perpend simulate``: the address at once, then a rig that answers there."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from ui.cli.exit_codes import DONE, INTERRUPTED

Perpend = Callable[..., Any]


@contextmanager
def served(*words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Run the verb in a process of its own; give it and the first line it printed."""
    child = subprocess.Popen(  # noqa: S603, RUF100 - our own interpreter
        [sys.executable, "-c", "from ui.cli.main import run; run()", "simulate", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with child:
        try:
            assert child.stdout is not None
            yield child, child.stdout.readline()
        finally:
            child.kill()


def test_a_served_rig_is_recorded_through_its_address(perpend: Perpend, tmp_path: Path) -> None:
    rig = Path(__file__).parents[3] / "acquisition" / "virtual_rig" / "rig_left.toml"

    with served("--tcp", "0", "--side", "left", "--speed", "max", "--json") as (_, line):
        port = json.loads(line)["port"]
        said = perpend(
            "record", "--port", port, "--rig", rig, "--seconds", 1, "--out", tmp_path / "a.h5"
        )

    assert port.startswith("tcp://127.0.0.1:")
    assert said.code == DONE
    assert "nothing lost" in said.err


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals")
def test_a_pseudo_terminal_is_served_until_ctrl_c() -> None:
    with served("--pty", "--trainee", "T03") as (child, line):
        child.send_signal(signal.SIGINT)
        _, errors = child.communicate(timeout=30)

    assert line.startswith("serial:/dev/")
    assert child.returncode == INTERRUPTED
    assert errors == "perpend simulate: interrupted\n"


def test_the_truth_is_written(tmp_path: Path) -> None:
    truth = tmp_path / "truth.csv"

    with served("--tcp", "0", "--reps", "1", "--truth", str(truth)) as (_, line):
        assert line.startswith("tcp://")

    assert len(truth.read_text("utf-8").splitlines()) > 100
