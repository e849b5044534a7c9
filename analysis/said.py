"""Sentences made of a pattern and its parts, which stay apart so that the whole can be translated.

A sentence put together of pieces cannot be translated: other languages order them otherwise. What
is made here is an ordinary string that still knows how it was made.
"""

from __future__ import annotations

from collections.abc import Iterable


class Said(str):
    """A sentence that knows its pattern.

    Attributes:
        pattern: With ``{}`` where the parts stand.
        parts: What stands there, sentences themselves or numbers already written.
    """

    pattern: str = ""
    parts: tuple[str, ...] = ()


def said(pattern: str, *parts: object) -> str:
    """Return the sentence that a pattern makes of its parts.

    Args:
        pattern: What a translator sees, with ``{}`` for each part.
        parts: In order.
    """
    texts = tuple(part if isinstance(part, str) else str(part) for part in parts)
    made = Said(pattern.format(*texts))
    made.pattern, made.parts = pattern, texts
    return made


def listed(separator: str, parts: Iterable[str]) -> str:
    """Return the parts that are not empty, one behind the other."""
    there = [part for part in parts if part]
    return said(separator.join(["{}"] * len(there)), *there)
