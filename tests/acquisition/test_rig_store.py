"""A rig description in the store of the rig: whole and its own, or none, or told as damaged."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition.clock import ManualClock
from acquisition.console import RigConsole
from acquisition.errors import DescriptionError, RigRefuses
from acquisition.rig import load_rig, rig_from_toml
from acquisition.rig_store import (
    PIECE_BYTES,
    description_entries,
    fetch_description,
    kept_text,
    save_description,
)
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from acquisition.virtual_rig.rigs import RIG_FILES


@pytest.fixture
def console(clock: ManualClock) -> Iterator[RigConsole]:
    rig = VirtualRig(default_rig("left", 6), trainee("E01"))
    with RigConsole(VirtualPort("virtual:", rig, clock=clock), clock=clock) as open_console:
        yield open_console


@pytest.fixture
def own_file() -> Path:
    return RIG_FILES["left", 6]


def kept(entries: list[tuple[str, bytes]]) -> str | None:
    store = {key: value for key, value in dict(entries).items() if value}
    return kept_text(lambda key: store.get(key, b""))


@given(st.text(min_size=1, max_size=5000).filter(lambda text: text.isprintable()))
def test_what_is_put_into_pieces_comes_back(text: str) -> None:
    entries = description_entries(text)

    assert kept(entries) == text
    assert all(len(value) <= PIECE_BYTES and len(key) <= 32 for key, value in entries)


def test_an_interrupted_save_leaves_no_description(own_file: Path) -> None:
    """Over an older one, cut off before any of its steps."""
    old, new = (description_entries(p.read_text()) for p in (RIG_FILES["right", 3], own_file))

    for steps in range(1, len(new)):
        assert kept([*old, *new[:steps]]) is None
    assert kept([*old, *new]) == own_file.read_text()


@pytest.mark.parametrize("head", [b"nonsense", b"10 00000000", b"0 00000000", b"999999 00000000"])
def test_a_damaged_one_is_told_with_the_way_out(head: bytes) -> None:
    entries = [*description_entries("[rig]\n"), ("rig.toml", head)]

    with pytest.raises(DescriptionError, match="is damaged; save it again with"):
        kept(entries)


def test_a_text_that_is_too_long_is_refused() -> None:
    with pytest.raises(DescriptionError, match="does not fit the rig: at most 57344"):
        description_entries("#" * 60_000)


def test_a_rig_gives_back_the_description_it_was_given(console: RigConsole, own_file: Path) -> None:
    text = own_file.read_text()
    save_description(console, text + "#" * 5000)  # an older, longer one

    assert save_description(console, text) == load_rig(own_file)
    assert fetch_description(console) == load_rig(own_file)
    assert set(console.stored_keys()) == {key for key, _ in description_entries(text)}


class Cut(Exception):
    """The cable was pulled."""


@pytest.mark.parametrize("steps", range(12))
def test_a_shorter_one_cut_off_over_a_longer_leaves_none_or_a_whole_one(
    console: RigConsole, own_file: Path, monkeypatch: pytest.MonkeyPatch, steps: int
) -> None:
    text = own_file.read_text()
    longer = text + "#" * 3000
    save_description(console, longer)
    write, left = RigConsole.write, iter(range(steps))

    def cut(self: RigConsole, key: str, value: bytes) -> None:
        if next(left, None) is None:
            raise Cut
        write(self, key, value)

    monkeypatch.setattr(RigConsole, "write", cut)
    with contextlib.suppress(Cut):
        save_description(console, text)

    every = len(description_entries(longer))  # each of its pieces, and twice the head
    assert 2 < every < 11
    assert kept_text(console.read) == (longer if steps == 0 else None if steps < every else text)


def test_a_store_too_full_for_the_new_one_gets_the_old_one_back(
    console: RigConsole, own_file: Path
) -> None:
    text = own_file.read_text()
    save_description(console, text)
    for number in range(64):
        console.write(f"big.{number}", bytes(900))

    with pytest.raises(RigRefuses, match=r"store is full.*; it keeps the description of before$"):
        save_description(console, text + "#" * 20_000)

    assert kept_text(console.read) == text


def test_another_rig_s_description_is_not_put_on_it(console: RigConsole) -> None:
    with pytest.raises(DescriptionError, match="is for 'R01', but 'L02' answers"):
        save_description(console, RIG_FILES["right", 3].read_text())
    with pytest.raises(DescriptionError, match="the description: is not valid TOML"):
        save_description(console, "[rig")


def test_every_description_goes_through_its_own_toml() -> None:
    for path in RIG_FILES.values():
        rig = load_rig(path)
        assert rig_from_toml(rig.to_toml(), where="here") == rig
    second = default_rig(stabiliser=True)
    assert rig_from_toml(second.to_toml(), where="here") == second
