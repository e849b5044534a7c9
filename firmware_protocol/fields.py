"""How the fields of a message lie in bytes: the pieces that byte tables are made of.

All numbers are little-endian and without padding.
"""

from __future__ import annotations

import dataclasses
import struct
from collections.abc import Sequence
from enum import IntEnum
from typing import Any, Protocol


class DoesNotFit(Exception):
    """Bytes do not hold the fields they promise, or a value does not fit its field.

    Stays inside this folder: `codec` makes it a value or a misuse.
    """


class Cursor:
    """Takes bytes one behind the other.

    Args:
        data: What to take from.
        at: Where to begin.
    """

    __slots__ = ("_at", "_data")

    def __init__(self, data: bytes, at: int) -> None:
        self._data = data
        self._at = at

    def take(self, size: int) -> bytes:
        """Return the next *size* bytes.

        Raises:
            DoesNotFit: There are not so many.
        """
        piece = self._data[self._at : self._at + size]
        if len(piece) < size:
            raise DoesNotFit(f"{len(self._data)} bytes, they end too early")
        self._at += size
        return piece

    def rest(self) -> bytes:
        """Return all that is left."""
        piece = self._data[self._at :]
        self._at = len(self._data)
        return piece


class Field(Protocol):
    """One or more values of a message and their bytes, both ways."""

    width: int

    def put(self, values: Sequence[Any]) -> bytes:
        """Return the bytes of *width* values."""

    def get(self, cursor: Cursor) -> tuple[Any, ...]:
        """Take *width* values."""


class Numbers:
    """Numbers of fixed width, one behind the other.

    Args:
        codes: One letter of `struct` for each: B I Q unsigned, i signed, f float, ? truth.
    """

    def __init__(self, codes: str) -> None:
        self.width = len(codes)
        self._layout = struct.Struct("<" + codes)

    def put(self, values: Sequence[Any]) -> bytes:
        """Return their bytes."""
        try:
            return self._layout.pack(*values)
        except (struct.error, OverflowError) as cause:
            raise DoesNotFit(str(cause)) from cause

    def get(self, cursor: Cursor) -> tuple[Any, ...]:
        """Take them."""
        return self._layout.unpack(cursor.take(self._layout.size))


class Text:
    """A length byte and UTF-8.

    Args:
        limit: The most bytes that are allowed.
    """

    width = 1

    def __init__(self, limit: int) -> None:
        self._limit = limit

    def put(self, values: Sequence[Any]) -> bytes:
        """Return the length and the text."""
        (text,) = values
        try:
            raw: bytes = text.encode("utf-8")
        except UnicodeEncodeError as cause:
            raise DoesNotFit(f"{text!r} is no Unicode text") from cause
        self._check(len(raw))
        return bytes([len(raw)]) + raw

    def get(self, cursor: Cursor) -> tuple[str]:
        """Take a text."""
        size = cursor.take(1)[0]
        self._check(size)
        try:
            return (cursor.take(size).decode("utf-8"),)
        except UnicodeDecodeError as cause:
            raise DoesNotFit("a text is not UTF-8") from cause

    def _check(self, size: int) -> None:
        if size > self._limit:
            raise DoesNotFit(f"a text of {size} bytes, {self._limit} are allowed")


class Code:
    """One byte that stands for a member of an enumeration.

    Args:
        members: The enumeration.
    """

    width = 1

    def __init__(self, members: type[IntEnum]) -> None:
        self._members = members

    def put(self, values: Sequence[Any]) -> bytes:
        """Return the byte of a member."""
        return _BYTE.put(values)

    def get(self, cursor: Cursor) -> tuple[IntEnum]:
        """Take a member."""
        (number,) = _BYTE.get(cursor)
        try:
            return (self._members(number),)
        except ValueError as cause:
            raise DoesNotFit(f"{self._members.__name__} {number} is not known") from cause


class Rows:
    """A count byte and so many rows of one layout; a tuple of values on our side.

    Args:
        limit: The most rows that are allowed.
        layout: Of one row.
    """

    width = 1

    def __init__(self, limit: int, layout: Layout) -> None:
        self._limit = limit
        self._layout = layout

    def put(self, values: Sequence[Any]) -> bytes:
        """Return the count and the rows."""
        (rows,) = values
        self._check(len(rows))
        return _BYTE.put([len(rows)]) + b"".join(map(self._layout.put, rows))

    def get(self, cursor: Cursor) -> tuple[tuple[Any, ...]]:
        """Take all rows."""
        (count,) = _BYTE.get(cursor)
        self._check(count)
        return (tuple(self._layout.get(cursor) for _ in range(count)),)

    def _check(self, count: int) -> None:
        if count > self._limit:
            raise DoesNotFit(f"a list of {count} rows, {self._limit} are allowed")


class Rest:
    """All bytes that are left. Nothing can ever be added behind it."""

    width = 1

    def put(self, values: Sequence[Any]) -> bytes:
        """Return the bytes as they are."""
        (data,) = values
        return bytes(data)

    def get(self, cursor: Cursor) -> tuple[bytes]:
        """Take what is left."""
        return (cursor.rest(),)


class Layout:
    """A byte table: the fields of one dataclass, in its own order.

    Args:
        kind: The dataclass.
        fields: What its attributes lie in, one behind the other.

    Attributes:
        kind: The dataclass.
    """

    def __init__(self, kind: type[Any], *fields: Field) -> None:
        self.kind = kind
        self._names = [field.name for field in dataclasses.fields(kind)]
        self._fields = fields
        if sum(field.width for field in fields) != len(self._names):
            raise TypeError(f"{kind.__name__}: its layout has not as many fields as it has")

    def put(self, value: Any) -> bytes:
        """Return the bytes of a value.

        Raises:
            DoesNotFit: One of its attributes is out of range.
        """
        left = [getattr(value, name) for name in self._names]
        parts = []
        for field in self._fields:
            parts.append(field.put(left[: field.width]))
            del left[: field.width]
        return b"".join(parts)

    def get(self, cursor: Cursor) -> Any:
        """Take a value.

        Raises:
            DoesNotFit: The bytes do not hold one.
        """
        values: list[Any] = []
        for field in self._fields:
            values += field.get(cursor)
        return self.kind(*values)


_BYTE = Numbers("B")
