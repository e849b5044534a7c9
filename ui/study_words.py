"""Numbers of a study in words: with their units, their intervals kept on one line."""

from __future__ import annotations

import numpy as np

from analysis.comparison.effect_sizes import Interval
from ui.measure_words import NAMED
from ui.numbers import count_of, shown

PEOPLE = {"E": "experts", "T": "trainees"}
"""What codes begin with; any other letter stands for itself."""


def amount(key: str, value: float) -> str:
    """Return a value of a measure with its unit."""
    _, unit, _ = NAMED[key]
    space = "" if unit.startswith("°") else " "
    return f"{shown(value, decimals_of(key))}{space}{unit}"


def decimals_of(key: str) -> int:
    """Return how many decimals of a measure are shown: one at least."""
    return max(1, NAMED[key][2])


def sentence(text: str) -> str:
    """Return a text that begins a sentence; abbreviations in it stay."""
    return text[:1].upper() + text[1:]


def sd_in_words(key: str, variance: float) -> str:
    """Return the root of a variance of a measure, without its unit."""
    return shown(float(np.sqrt(variance)), decimals_of(key))


def span(low: str, high: str) -> str:
    """Return an interval that no end of a line tears."""
    return f"({low}\u00a0to\u00a0{high})"


def with_interval(one: Interval, decimals: int, *, sign: str = "") -> str:
    """Return an estimate with its interval."""
    value, low, high = (shown(each, decimals, sign=sign) for each in (one.value, one.low, one.high))
    return f"{value} {span(low, high)}"


def kind_of(letter: str) -> str:
    """Return what people are whose codes begin so; a group that was given keeps its name."""
    return PEOPLE.get(letter, letter)


def people(count: int) -> str:
    """Return so many people in words."""
    return count_of(count, "person", "people")
