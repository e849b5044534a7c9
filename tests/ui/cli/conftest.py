"""How tests call the command."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from ui.cli.main import main


@dataclass(frozen=True, slots=True)
class Said:
    """What a command said, and how it ended."""

    code: int
    out: str
    err: str


@pytest.fixture
def perpend(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Return what calls the command with words and gives what it said."""

    def call(*words: object) -> Said:
        code = main([str(word) for word in words])
        said = capsys.readouterr()
        return Said(code, said.out, said.err)

    return call
