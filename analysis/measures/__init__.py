"""The measures; a new one is one function and one line in `tables`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

from analysis.measure_settings import MeasureSettings
from analysis.measures.intervals import intervals_of
from analysis.measures.phase_view import PhaseView, Withheld
from analysis.measures.tables import PHASE_MEASURES, REPETITION_MEASURES, Measure
from analysis.measures.timing import RepetitionView
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.trial import Measured, MeasureValue, PhaseName, Repetition, RepetitionSpans

__all__ = [
    "PHASE_MEASURES",
    "REPETITION_MEASURES",
    "Measure",
    "PhaseView",
    "RepetitionView",
    "Withheld",
    "measure_repetitions",
]

View = TypeVar("View", PhaseView, RepetitionView)

MOVED = "the rig was moved during this repetition, or the arm did not come home behind it"
TOLD_ANYWAY = frozenset(
    ("side", "start_s", "top_s", "end_s", "complete", "missing_percent", "saturated_percent")
)
"""What does not rest on where the base stood, or only says which repetition it is."""


def measure_repetitions(
    series: ResolvedSeries,
    spans: Iterable[RepetitionSpans],
    target: Target,
    settings: MeasureSettings | None = None,
    *,
    side: str,
) -> tuple[Repetition, ...]:
    """Measure every repetition, whole and by phase.

    Args:
        series: The resolved push.
        spans: Where the repetitions lie.
        target: What to measure against.
        settings: Parameters; None takes the defaults.
        side: ``right`` or ``left``, for the table only: the series knows no sides.
    """
    settings = settings or MeasureSettings()
    return tuple(
        Repetition(
            number=number,
            spans=one,
            measured=_measure(
                RepetitionView(series, one, target, settings, side), REPETITION_MEASURES
            ),
            phases={
                name: _measure_phase(PhaseView(series, one, name, target, settings))
                for name in PhaseName
            },
        )
        for number, one in enumerate(spans, 1)
    )


def _measure_phase(view: PhaseView) -> Measured:
    measured = _measure(view, PHASE_MEASURES)
    found = intervals_of(view, measured.values)
    return replace(measured, intervals=found.ends, interval_reasons=found.reasons)


def _measure(view: View, measures: Sequence[Measure[View]]) -> Measured:
    values: dict[str, MeasureValue] = {}
    reasons: dict[str, str] = {}
    unsettled = _unsettled(view.series, view.spans)
    for measure in measures:
        if unsettled and measure.key not in TOLD_ANYWAY:
            values[measure.key], reasons[measure.key] = None, MOVED
            continue
        try:
            values[measure.key] = _defined(measure.compute(view))
        except Withheld as why:
            values[measure.key], reasons[measure.key] = None, str(why)
    return Measured(values, reasons)


def _unsettled(series: ResolvedSeries, spans: RepetitionSpans) -> bool:
    """Tell whether the base may have moved during a repetition."""
    return series.unsettled is not None and bool(series.unsettled[spans.movement.slice].any())


def _defined(value: float | bool | str) -> float | bool | str:
    if isinstance(value, float) and not math.isfinite(value):
        raise Withheld("the data leave it undefined")
    return value
