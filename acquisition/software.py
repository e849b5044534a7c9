"""Which program this is, for everything that must say so later."""

from __future__ import annotations

from functools import cache


@cache
def software() -> str:
    """Return name and version, such as ``perpend 0.1.0``."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return f"perpend {version('perpend')}"
    except PackageNotFoundError:
        return "perpend (not installed)"
