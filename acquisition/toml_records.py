"""Typed records out of TOML and JSON, with errors that name the file and the key."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, TypeVar

import msgspec

Record = TypeVar("Record")


def read_toml(path: Path, error: type[Exception]) -> dict[str, Any]:
    """Read a TOML file.

    Args:
        path: The file.
        error: Class to raise, with one line fit for people.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise error(f"{path}: no such file; name an existing TOML file") from None
    except OSError as cause:
        raise error(f"{path}: cannot be read ({cause.strerror})") from cause
    except UnicodeDecodeError as cause:
        raise error(f"{path}: is not UTF-8 text; name a TOML file") from cause
    except tomllib.TOMLDecodeError as cause:
        raise error(f"{path}: is not valid TOML: {cause}") from cause


def to_record(
    data: object, record: type[Record], *, where: object, error: type[Exception]
) -> Record:
    """Turn plain data into a checked record.

    Args:
        data: What a TOML or JSON reader gave.
        record: The class wanted; its types and `__post_init__` are the checks.
        where: File or other origin, for the message.
        error: Class to raise. The message names the key, such as ``$.cell.axes``.
    """
    try:
        return msgspec.convert(data, record)
    except msgspec.ValidationError as cause:
        raise error(f"{where}: {cause}") from cause
