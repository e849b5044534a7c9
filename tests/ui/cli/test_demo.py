"""``perpend demo``: the whole way."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ui.cli.exit_codes import DONE

Perpend = Callable[..., Any]


def test_it_goes_the_whole_way(perpend: Perpend, tmp_path: Path) -> None:
    said = perpend("demo", "--out", tmp_path / "new", "--seed", 3)

    *_, recording, report = (Path(line.split()[-1]) for line in said.out.strip().splitlines()[-2:])
    assert said.code == DONE
    (session,) = (tmp_path / "new" / "T01").iterdir()
    assert sorted(session.iterdir()) == sorted([recording, report])
    assert "Direction of the push" in report.read_text(encoding="utf-8")


def test_its_result_can_be_read_by_a_program(perpend: Perpend, tmp_path: Path) -> None:
    said = perpend("demo", "--out", tmp_path, "--side", "left", "--trainee", "T03", "--json")

    plain = json.loads(said.out)
    assert Path(plain["report"]).is_file()
    assert [one["side"] for one in plain["trial"]["repetitions"]] == ["left"] * 3
    assert plain["trial"]["repetitions"][0]["released_before_down"] is True


def test_live_opens_the_window_on_the_same_rig(
    perpend: Perpend, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    opened: dict[str, Any] = {}

    def window(port: str, **options: Any) -> int:
        opened.update(port=port, **options)
        return DONE

    monkeypatch.setattr("ui.desktop.open_live_window", window)

    said = perpend("demo", "--live", "--side", "left", "--out", tmp_path)

    assert said.code == DONE
    assert opened["port"] == "virtual:?trainee=T01&seed=7&side=left&axes=3&reps=0"
    assert opened["rig"].rig.side == "left"
    assert opened["out_dir"] == tmp_path


def test_without_qt_it_says_what_to_install(
    perpend: Perpend, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def window(*_: Any, **__: Any) -> int:
        raise ImportError("libEGL.so.1: cannot open shared object file")

    monkeypatch.setattr("ui.desktop.open_live_window", window)

    said = perpend("demo", "--live", "--out", tmp_path)

    assert "libEGL.so.1" in said.err
    assert "desktop extra" in said.err
