"""Where the phases of the repetitions begin and end, for formats that carry events."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.trial import Trial

PHASES = ("setup", "raising", "top", "lowering", "release")
"""Spans of a repetition, in order of time."""


@dataclass(frozen=True, slots=True)
class PhaseEvent:
    """A phase of a repetition.

    Attributes:
        repetition: From 1.
        phase: Of `PHASES`.
        onset_s: When it begins.
        duration_s: How long it lasts.
    """

    repetition: int
    phase: str
    onset_s: float
    duration_s: float


def phase_events(trial: Trial) -> Iterator[PhaseEvent]:
    """Yield the phases that are there, in order of time."""
    rate = trial.series.fs_hz
    for repetition in trial.repetitions:
        for phase in PHASES:
            span = getattr(repetition.spans, phase)
            if len(span):
                onset = round(float(trial.series.time_s[span.start]), 6)
                yield PhaseEvent(repetition.number, phase, onset, round(len(span) / rate, 6))
