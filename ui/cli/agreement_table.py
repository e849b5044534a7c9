"""How two methods agree, at a terminal: what it means first, then the numbers."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from analysis.comparison.bland_altman import Design
from analysis.comparison.effect_sizes import Interval
from analysis.comparison.methods import MeasureAgreement
from ui.cli.tables import titled
from ui.compared import NAMED, measure_name
from ui.numbers import shown

MEANING = (
    "Differences are the second method minus the first. Of single differences 95 of 100 lie "
    "between the limits; in brackets the 95 % interval of each number. Whether such limits are "
    "narrow enough is a matter of what the measure is for."
)
FEW_PEOPLE = (
    "Of fewer than three people each repetition counts by itself: the limits hold for these "
    "people only, and their intervals suppose that repetitions are independent."
)


def agreement_table(found: Sequence[MeasureAgreement]) -> RenderableType:
    """Return bias and limits of agreement of every measure."""
    table = titled("agreement of two methods")
    for name in ("bias", "lower limit", "upper limit", "pairs"):
        table.add_column(name, justify="right")
    for one in found:
        if one.agreement is None:
            table.add_row(measure_name(one.key), one.reason)
            continue
        decimals = NAMED[one.key][2]
        limits = (one.agreement.bias, one.agreement.lower, one.agreement.upper)
        cells = (_with_interval(limit, decimals) for limit in limits)
        table.add_row(measure_name(one.key), *cells, str(one.agreement.pairs))
    single = any(one.agreement and one.agreement.design is Design.SINGLE for one in found)
    words = [Text(MEANING), *([Text(FEW_PEOPLE)] if single else [])]
    return Group(*words, Text(), table)


def _with_interval(one: Interval, decimals: int) -> str:
    low, high = (shown(edge, decimals, sign="+") for edge in (one.low, one.high))
    return f"{shown(one.value, decimals, sign='+')}\n({low} to {high})"
