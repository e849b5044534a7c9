"""Numbers as people read them: a true minus, no minus zero, — where there is none."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.trial import MeasureValue  # loading it would be felt at every --help


def shown(value: MeasureValue, decimals: int, *, sign: str = "") -> str:
    """Return a measure as text.

    Args:
        value: Number, yes or no, word, or None.
        decimals: How many are worth showing.
        sign: ``+`` shows it for positive numbers too.
    """
    if value is None:
        return "—"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        rounded = round(value, decimals) + 0.0  # + 0.0 makes a minus zero plain
        return f"{rounded:{sign}.{decimals}f}".replace("-", "−")
    return str(value)


def interval_shown(ends: tuple[float, float], decimals: int) -> str:
    """Return an interval as text, with as many more decimals, up to two, as tell its ends apart."""
    for more in range(3):
        low, high = (shown(end, decimals + more) for end in ends)
        if low != high:
            break
    return f"{low} to {high}"


def with_u(value: MeasureValue, u: MeasureValue, *, sign: str = "") -> str:
    """Return a measure with its standard uncertainty, both with one decimal."""
    text = shown(value, 1, sign=sign)
    return text if u is None or value is None else f"{text} ± {shown(u, 1)}"


def count_of(number: int, one: str, several: str = "") -> str:
    """Return how many of something there are, the word in its number.

    Args:
        number: How many.
        one: The word for one.
        several: For more, or none; empty adds an s.
    """
    return f"{number} {one if number == 1 else several or one + 's'}"
