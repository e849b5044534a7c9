"""Texts of a rig or of a file so that they cannot steer a terminal, nor look like ours."""

from __future__ import annotations

import re

NOT_SHOWN = re.compile("[\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f\\u202a-\\u202e\\u2066-\\u2069]")
"""Control characters but tab and line feed, and those that turn the direction of writing."""
MORE_LINES = re.compile("[\\t\\n\\u2028\\u2029]")


def harmless(text: str) -> str:
    """Return a text so that it cannot steer a terminal; it may have several lines."""
    return NOT_SHOWN.sub("\N{REPLACEMENT CHARACTER}", text)


def one_line(text: str) -> str:
    """Return a harmless text of one line: it begins none that looks like the program's."""
    return MORE_LINES.sub("\N{REPLACEMENT CHARACTER}", harmless(text))
