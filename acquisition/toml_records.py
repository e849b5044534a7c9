"""Typed records out of TOML and JSON, with errors that name the file and the key."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
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
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise error(f"{path}: no such file; name an existing TOML file") from None
    except OSError as cause:
        raise error(f"{path}: cannot be read ({cause.strerror})") from cause
    except UnicodeDecodeError as cause:
        raise error(f"{path}: is not UTF-8 text; name a TOML file") from cause
    return parse_toml(text, where=path, error=error)


def parse_toml(text: str, *, where: object, error: type[Exception]) -> dict[str, Any]:
    """Read TOML text.

    Args:
        text: The whole of it.
        where: File or other origin, for the message.
        error: Class to raise, with one line fit for people.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as cause:
        raise error(f"{where}: is not valid TOML: {cause}") from cause


def toml_text(data: Mapping[str, Any]) -> str:
    """Return plain data as TOML.

    Args:
        data: Tables of tables, numbers, truths, texts, dates and lists of these; None is left out.
    """
    return "".join(_table(data, ())).lstrip("\n")


def _table(data: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    plain = {key: value for key, value in data.items() if not isinstance(value, Mapping)}
    if path and (plain or not data):
        yield f"\n[{'.'.join(path)}]\n"
    for key, value in plain.items():
        if value is not None:
            yield f"{key} = {_value(value)}\n"
    for key, value in data.items():
        if isinstance(value, Mapping):
            yield from _table(value, (*path, key))


def _value(value: object) -> str:
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, date):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False)


def to_record(
    data: object, record: type[Record], *, where: object, error: type[Exception]
) -> Record:
    """Turn plain data into a checked record.

    Args:
        data: What a TOML or JSON reader gave.
        record: The class wanted; its types and `__post_init__` are the checks.
        where: File or other origin, for the message.
        error: Class to raise. The message names the key, such as ``$.cell.axes``. TOML and
            Python's JSON know nan and inf: no quantity here may be one.
    """
    key = _key_of_non_finite(data, "$")
    if key:
        raise error(f"{where}: Expected a finite number - at `{key}`")
    try:
        return msgspec.convert(data, record)
    except msgspec.ValidationError as cause:
        raise error(f"{where}: {cause}") from cause


def _key_of_non_finite(data: object, key: str) -> str:
    if isinstance(data, float):
        return "" if math.isfinite(data) else key
    items: Iterable[tuple[str, object]] = ()
    if isinstance(data, dict):
        items = ((f"{key}.{name}", value) for name, value in data.items())
    elif isinstance(data, list):
        items = ((f"{key}[{index}]", value) for index, value in enumerate(data))
    return next(filter(None, (_key_of_non_finite(value, name) for name, value in items)), "")
