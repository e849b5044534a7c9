"""The rig description in the key-value store of the rig itself: it travels with the rig.

As PROTOCOL.md has it: the text of its TOML file in pieces under ``rig.toml.0``, ``rig.toml.1``
and so on, and under ``rig.toml`` its size and CRC-32. That entry goes first and comes last, so
that a description which was cut off while it was written is none.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable, Iterable, Sequence

from acquisition.acceptance import check_rig_matches
from acquisition.console import RigConsole
from acquisition.errors import DescriptionError, RigRefuses
from acquisition.rig import RigDescription, rig_from_toml

DESCRIPTION_KEY = "rig.toml"
PIECE_BYTES = 896
MAX_DESCRIPTION_BYTES = 64 * PIECE_BYTES
"""More is a mistake, or another file."""

_HEAD = re.compile(rb"(\d{1,6}) ([0-9A-F]{8})")


def description_entries(text: str) -> list[tuple[str, bytes]]:
    """Return what to write into the store for a description, key by key; empty removes a key.

    Args:
        text: Of its TOML file.

    Raises:
        DescriptionError: It is too long.
    """
    data = text.encode()
    if not 0 < len(data) <= MAX_DESCRIPTION_BYTES:
        raise DescriptionError(
            f"a description of {len(data)} bytes does not fit the rig: "
            f"at most {MAX_DESCRIPTION_BYTES}, shorten its comments"
        )
    pieces = [
        (f"{DESCRIPTION_KEY}.{number}", data[start : start + PIECE_BYTES])
        for number, start in enumerate(range(0, len(data), PIECE_BYTES))
    ]
    head = f"{len(data)} {zlib.crc32(data):08X}".encode()
    return [(DESCRIPTION_KEY, b""), *pieces, (DESCRIPTION_KEY, head)]


def store_with(rig: RigDescription) -> dict[str, bytes]:
    """Return what the store of a rig holds that keeps its description."""
    return {key: value for key, value in description_entries(rig.to_toml()) if value}


def save_description(console: RigConsole, text: str) -> RigDescription:
    """Write a description into the rig's store, in place of an older one.

    Args:
        console: An open line to the rig.
        text: Of its TOML file.

    Returns:
        What is now on the rig, read back.

    Raises:
        DescriptionError: It is no description, or another rig's.
        RigRefuses: The store is full; what it kept before is put back.
        RigError: The rig is silent.
    """
    check_rig_matches(rig_from_toml(text, where="the description"), console.identity)
    entries, names = description_entries(text), _names_kept(console)
    before = {key: console.read(key) for key in names}
    try:
        _replace(console, names, entries)
    except RigRefuses as why:
        raise RigRefuses(f"{why}; {_put_back(console, before)}") from why
    kept = fetch_description(console)
    if kept is None:
        raise DescriptionError("the rig has not kept its description; has it a store?")
    return kept


def _names_kept(console: RigConsole) -> list[str]:
    names = console.stored_keys()
    return [key for key in names if key.startswith(f"{DESCRIPTION_KEY}.") or key == DESCRIPTION_KEY]


def _replace(
    console: RigConsole, names: Iterable[str], entries: Sequence[tuple[str, bytes]]
) -> None:
    """Write entries in place of what the store has under *names*; its head goes first."""
    (head, nothing), *rest = entries
    console.write(head, nothing)
    for key in sorted(set(names) - {key for key, _ in entries}):
        console.write(key, b"")
    for key, value in rest:
        console.write(key, value)


def _put_back(console: RigConsole, before: dict[str, bytes]) -> str:
    """Write the description of before again; return in words what the rig keeps now."""
    head = before.get(DESCRIPTION_KEY, b"")
    pieces = [(key, value) for key, value in before.items() if key != DESCRIPTION_KEY]
    entries = [(DESCRIPTION_KEY, b""), *pieces, (DESCRIPTION_KEY, head)]
    try:
        _replace(console, _names_kept(console), entries)
    except RigRefuses:
        return "and no more the description of before: save it again once there is room"
    return "it keeps the description of before" if head else "it keeps no description"


def fetch_description(console: RigConsole) -> RigDescription | None:
    """Return the description that the rig holds, None if it holds none.

    Raises:
        DescriptionError: It is damaged, or another rig's.
        RigError: The rig is silent.
    """
    text = kept_text(console.read)
    if text is None:
        return None
    rig = rig_from_toml(text, where=f"the description kept on rig {console.identity.rig_serial!r}")
    check_rig_matches(rig, console.identity)
    return rig


def kept_text(read: Callable[[str], bytes]) -> str | None:
    """Return the text of the description that a store holds, None if it holds none.

    Args:
        read: Gives the value of a key, empty if there is none.

    Raises:
        DescriptionError: It is not as it was written.
    """
    head = read(DESCRIPTION_KEY)
    if not head:
        return None
    told = _HEAD.fullmatch(head)
    size = int(told[1]) if told else 0
    if told and 0 < size <= MAX_DESCRIPTION_BYTES:
        numbers = range(-(-size // PIECE_BYTES))
        data = b"".join(read(f"{DESCRIPTION_KEY}.{number}") for number in numbers)
        if len(data) == size and zlib.crc32(data) == int(told[2], 16):
            return data.decode("utf-8", "replace")
    raise DescriptionError(
        "the description kept on the rig is damaged; save it again with "
        "perpend rig --port URL --save-description RIG.toml"
    )
