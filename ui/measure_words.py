"""How compared measures are called, and how numbers of theirs are told."""

from __future__ import annotations

from analysis.comparison.effect_sizes import Interval
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.reference.evidence import COMPARED
from ui.numbers import shown

NAMED: dict[str, tuple[str, str, int]] = {
    **{one.key: (one.label, one.unit, one.decimals) for one in REPETITION_MEASURES},
    **{one.key: (one.label, one.unit, one.decimals) for one in PHASE_MEASURES},
}
"""Label, unit and decimals of each measure."""
MOST_DECIMALS = 3
PHASES = dict(COMPARED)


def measure_name(key: str) -> str:
    """Return what a compared measure is called, with its phase where that is not the movement."""
    unit = NAMED[key][1]
    return f"{measure_label(key)}, {unit}" if unit else measure_label(key)


def measure_label(key: str) -> str:
    """Return the same without its unit."""
    phase = PHASES[key]
    part = f" ({phase.value})" if phase is not None and phase.value != "movement" else ""
    return f"{NAMED[key][0]}{part}"


def with_unit(key: str, text: str) -> str:
    """Return a value of a measure, or one with its interval, with the unit behind the value."""
    unit = NAMED[key][1]
    space = "" if not unit or unit.startswith("°") else " "
    value, bracket, interval = text.partition(" (")
    return f"{value}{space}{unit}{bracket}{interval}"


def interval_in_words(key: str, interval: Interval, *, sign: str = "+") -> str:
    """Return a value of a measure with its interval."""
    decimals = compared_decimals(key, interval)
    value, low, high = (
        shown(one, decimals, sign=sign) for one in (interval.value, interval.low, interval.high)
    )
    return f"{value} ({low} to {high})"


def compared_decimals(key: str, interval: Interval | None = None) -> int:
    """Return how many decimals a measure takes, so that no end of an interval looks like 0."""
    least = max(1, NAMED[key][2])
    ends = (interval.value, interval.low, interval.high) if interval else ()
    wanted = range(least, MOST_DECIMALS)
    enough = (n for n in wanted if all(not end or round(end, n) for end in ends))
    return next(enough, MOST_DECIMALS)


def names_in_words(names: tuple[str, ...]) -> str:
    """Return codes of people, or names of files, as a list in a sentence."""
    shown_names = [one or "no code" for one in names]
    head, last = shown_names[:-1], shown_names[-1]
    return f"{', '.join(head)} and {last}" if head else last


def p_in_words(p: float | None) -> str:
    """Return a chance that is known, for a sentence."""
    assert p is not None
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}"


def p_alone(p: float | None) -> str:
    """Return a chance for a column that is called p; nothing if there is none."""
    return "" if p is None else p_in_words(p).removeprefix("p ").removeprefix("= ")


def sds_in_words(interval: Interval) -> str:
    """Return a difference in standard deviations with its interval."""
    value, low, high = (
        shown(one, 2, sign="+") for one in (interval.value, interval.low, interval.high)
    )
    return f"{value} ({low} to {high})"
