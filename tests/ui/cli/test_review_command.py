"""``perpend review``: which recordings the window gets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

import ui.desktop
from analysis.trial import Trial
from ui.cli.exit_codes import DONE, FAILED

Perpend = Callable[..., Any]


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Sequence[Trial]]:
    """Return what the window was opened with; nothing is shown."""
    found: list[Sequence[Trial]] = []

    def remember(trials: Sequence[Trial], *, out_dir: Path) -> int:
        found.append(trials)
        return DONE

    monkeypatch.setattr(ui.desktop, "open_review_window", remember)
    return found


@pytest.mark.parametrize("count", [1, 2])
def test_one_recording_or_two_are_opened(
    perpend: Perpend, recorded: Path, opened: list[Sequence[Trial]], count: int
) -> None:
    assert perpend("review", *[recorded] * count).code == DONE

    assert [trial.recording["person"] for trial in opened[0]] == ["T01"] * count


def test_what_is_no_recording_is_refused_in_one_line(
    perpend: Perpend, tmp_path: Path, opened: list[Sequence[Trial]]
) -> None:
    said = perpend("review", tmp_path / "nothing.h5")

    assert said.code == FAILED
    assert "nothing.h5" in said.err
    assert len(said.err.splitlines()) == 1
    assert opened == []
