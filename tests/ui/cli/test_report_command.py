"""``perpend report``: where the pages go, and that none is overwritten."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.cli.output import write_whole
from ui.errors import UserError

Perpend = Callable[..., Any]


@pytest.fixture
def mine(recorded: Path, tmp_path: Path) -> Path:
    """Return a recording in a folder of its own."""
    return Path(shutil.copy(recorded, tmp_path / "mine.h5"))


def test_a_report_goes_beside_its_recording(perpend: Perpend, mine: Path) -> None:
    said = perpend("report", mine)

    page = mine.with_suffix(".html")
    assert said.code == DONE
    assert said.out.strip() == str(page)
    assert page.read_text("utf-8").startswith("<!doctype html>")
    assert sorted(path.name for path in mine.parent.iterdir()) == ["mine.h5", "mine.html"]


def test_a_report_is_not_overwritten_unless_asked(perpend: Perpend, mine: Path) -> None:
    page = mine.with_suffix(".html")
    page.write_text("precious")

    refused = perpend("report", mine)
    kept = page.read_text("utf-8")
    forced = perpend("report", mine, "--force")

    assert (refused.code, forced.code) == (FAILED, DONE)
    assert "--force" in refused.err
    assert kept == "precious"
    assert page.read_text("utf-8") != "precious"


def test_a_bad_recording_among_several_costs_no_other_its_report(
    perpend: Perpend, mine: Path, tmp_path: Path
) -> None:
    bad = tmp_path / "bad.h5"
    bad.touch()
    out = tmp_path / "pages"
    out.mkdir()

    said = perpend("report", bad, mine, "--out", out, "--json")

    assert said.code == INCOMPLETE
    assert json.loads(said.out) == [{"recording": str(mine), "report": str(out / "mine.html")}]
    assert [path.name for path in out.iterdir()] == ["mine.html"]


def test_names_are_checked_before_the_first_page_is_drawn(
    perpend: Perpend, mine: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    twin = shutil.copy(mine, other / "mine.h5")
    out = tmp_path / "pages"
    out.mkdir()

    one_file = perpend("report", mine, twin, "--out", tmp_path / "one.html")
    same_name = perpend("report", mine, twin, "--out", out)

    assert one_file.code == same_name.code == FAILED
    assert "is one file for 2 reports" in one_file.err
    assert "both" in same_name.err
    assert list(out.iterdir()) == []


def test_a_page_is_there_whole_or_not_at_all(tmp_path: Path) -> None:
    page = tmp_path / "a.html"
    page.write_text("before")

    with pytest.raises(UnicodeEncodeError):
        write_whole(page, "half of it \ud800 cannot be written")

    assert page.read_text("utf-8") == "before"
    assert list(tmp_path.iterdir()) == [page]


def test_a_page_that_somebody_writes_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a.html.part").write_text("theirs")

    with pytest.raises(UserError, match=r"a\.html\.part: is being written"):
        write_whole(tmp_path / "a.html", "mine")

    assert (tmp_path / "a.html.part").read_text("utf-8") == "theirs"
