"""Port URLs taken apart: ``scheme:address?option=value&option=value``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl

from acquisition.errors import PortError


@dataclass(frozen=True, slots=True)
class PortUrl:
    """A port URL.

    Attributes:
        text: As given.
        scheme: What stands before the first colon, in lower case.
        address: What stands between scheme and options; leading ``//`` taken off.
        options: By name, as text.
    """

    text: str
    scheme: str
    address: str
    options: Mapping[str, str]

    def read_options(self, readers: Mapping[str, Callable[[str], Any]]) -> dict[str, Any]:
        """Return the given options as values.

        Args:
            readers: By option name, what turns its text into a value; it raises `ValueError`,
                with a text for people, if the value will not do.

        Raises:
            PortError: An option is not among *readers*, or its value will not do.
        """
        values = {}
        for name, text in self.options.items():
            if name not in readers:
                known = ", ".join(sorted(readers)) or "none"
                raise PortError(f"{self.text}: unknown option {name!r}; known: {known}")
            try:
                values[name] = readers[name](text)
            except ValueError as cause:
                raise PortError(f"{self.text}: {name}={text!r} will not do: {cause}") from cause
        return values


def parse_url(text: str) -> PortUrl:
    """Take *text* apart.

    Raises:
        PortError: It is no port URL.
    """
    scheme, colon, rest = text.partition(":")
    if not colon or not scheme.isalpha():
        raise PortError(f"{text!r} is no port URL; write it like serial:/dev/ttyACM0")
    address, _, query = rest.partition("?")
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
    except ValueError as cause:
        raise PortError(f"{text}: options are written ?name=value&name=value") from cause
    options = dict(pairs)
    if len(options) < len(pairs):
        raise PortError(f"{text}: an option is given twice")
    return PortUrl(text, scheme.lower(), address.removeprefix("//"), options)


def at_least(limit: float, convert: Callable[[str], float]) -> Callable[[str], float]:
    """Return a reader of numbers that refuses those below *limit*."""

    def read(text: str) -> float:
        value = convert(text)
        if not value >= limit:
            raise ValueError(f"must be {limit} or more")
        return value

    return read


def play_speed(text: str) -> float:
    """Read ``speed=``: ``max`` is infinity, 1 is real time.

    Raises:
        ValueError: Neither ``max`` nor a number above 0.
    """
    speed = float("inf") if text == "max" else float(text)
    if not speed > 0:
        raise ValueError("must be above 0, or max")
    return speed
