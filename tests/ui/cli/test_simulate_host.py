"""A served rig is closed to other machines unless that is asked for, and then it is said."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest

from acquisition.virtual_rig.serve import is_loopback
from ui.cli.exit_codes import FAILED


@pytest.mark.parametrize(
    ("host", "alone"),
    [
        ("127.0.0.1", True),
        ("127.8.8.8", True),
        ("::1", True),
        ("localhost", True),
        ("0.0.0.0", False),  # noqa: S104, RUF100 - a text, nothing listens there
        ("::", False),
        ("192.168.1.5", False),
        ("localhost.example.org", False),
        ("", False),
    ],
)
def test_what_only_this_machine_reaches(host: str, alone: bool) -> None:
    assert is_loopback(host) is alone


def test_letting_others_in_is_warned_of() -> None:
    words = ["simulate", "--tcp", "0", "--host", "0.0.0.0"]  # noqa: S104, RUF100 - for a moment
    child = subprocess.Popen(  # noqa: S603, RUF100 - our own interpreter
        [sys.executable, "-c", "from ui.cli.main import run; run()", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with child:
        assert child.stdout is not None
        address = child.stdout.readline()
        child.kill()
        _, errors = child.communicate(timeout=30)

    assert address.startswith("tcp://0.0.0.0:")
    assert errors.startswith("warning: everybody who reaches 0.0.0.0 can connect")


def test_a_pseudo_terminal_has_no_address(perpend: Callable[..., Any]) -> None:
    said = perpend("simulate", "--pty", "--host", "127.0.0.1")

    assert said.code == FAILED
    assert "--host belongs to --tcp" in said.err
