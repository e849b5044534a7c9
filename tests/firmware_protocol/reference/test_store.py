"""The desktop store: on the disk before it says so, whole whatever fails, boots counted."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_protocol.messages import Outcome

if sys.platform == "win32":
    pytest.skip("the desktop port is for POSIX systems", allow_module_level=True)

Build = Callable[..., Path]
LONGEST_S = 30.0
FULL = -1
"""The disk has no room for what is written."""


@pytest.fixture(scope="module")
def driver(build: Build, core: list[Path]) -> Path:
    store = core[0].parent / "ports" / "desktop" / "store.c"
    here = Path(__file__).with_name("store_driver.c")
    traced = ("-Dfsync=traced_fsync", "-Drename=traced_rename")
    return build("store", [*core, store, here], *traced)


def keep(driver: Path, file: Path, value: str, failing: int = 0) -> str:
    """Open the store, keep a value, and tell what was done."""
    done = subprocess.run(
        [driver, file, value, str(failing)],
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )
    assert done.stderr == ""
    return done.stdout.strip()


def test_a_value_is_on_the_disk_before_it_replaces_the_old_one(
    driver: Path, tmp_path: Path
) -> None:
    told = keep(driver, tmp_path / "store", "one")

    assert told == f"file rename folder {Outcome.DONE.value} 'one' 1"


@pytest.mark.parametrize(
    ("failing", "called", "file_then"),
    [(1, "file", "one"), (2, "file rename", "one"), (3, "file rename folder", "two")],
)
def test_a_write_that_fails_is_told_and_leaves_the_old_value_or_the_new(
    driver: Path, tmp_path: Path, failing: int, called: str, file_then: str
) -> None:
    file = tmp_path / "store"
    keep(driver, file, "one")

    told = keep(driver, file, "two", failing)

    assert told == f"{called} {Outcome.STORE_FAILED.value} 'one' 2"
    assert [path.name for path in tmp_path.iterdir()] == ["store"]
    assert f"k\x03\0{file_then}".encode() in file.read_bytes()


def test_a_full_disk_is_told_as_a_full_store(driver: Path, tmp_path: Path) -> None:
    file = tmp_path / "store"
    keep(driver, file, "one")

    told = keep(driver, file, "two", FULL)

    assert told == f"file {Outcome.STORE_FULL.value} 'one' 2"
    assert b"k\x03\0one" in file.read_bytes()


def test_a_file_of_the_folder_one_is_in_needs_no_slash(
    driver: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)

    assert keep(driver, Path("store"), "one").startswith("file rename folder 0")


def test_every_opening_is_counted_up_to_the_last_number_and_round(
    driver: Path, tmp_path: Path
) -> None:
    file = tmp_path / "store"

    assert [keep(driver, file, "v").split()[-1] for _ in range(3)] == ["1", "2", "3"]
    file.write_bytes(file.read_bytes().replace(b"\0\x04\0\x03\0\0\0", b"\0\x04\0\xff\xff\xff\xff"))
    assert keep(driver, file, "v").split()[-1] == "0"


@pytest.mark.parametrize(
    "damaged", [b"\0\x03\0abc", b"\0\x04\0ab", b"\x01k", b"\x01k\0\0", b"\x21" + b"k" * 40]
)
def test_a_damaged_file_is_told_and_left_alone(
    driver: Path, tmp_path: Path, damaged: bytes
) -> None:
    file = tmp_path / "store"
    file.write_bytes(damaged)

    assert keep(driver, file, "v").startswith("is no store")
    assert file.read_bytes() == damaged


def test_a_place_that_cannot_be_written_is_told_at_the_start(driver: Path, tmp_path: Path) -> None:
    assert keep(driver, tmp_path / "no folder" / "store", "v").startswith("cannot be written")
    (tmp_path / "file").touch()
    assert keep(driver, tmp_path / "file" / "store", "v").startswith("cannot be read")
