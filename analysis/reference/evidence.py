"""What a reference or a comparison needs of a measured recording: so little that many fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.reference.arc_curves import RepetitionCurves, curves_of
from analysis.target import Target
from analysis.trial import PhaseName, Repetition, Trial

COMPARED: tuple[tuple[str, PhaseName | None], ...] = (
    ("azimuth_error_mean_deg", PhaseName.MOVEMENT),
    ("superior_angle_mean_deg", PhaseName.MOVEMENT),
    ("superior_angle_p95_deg", PhaseName.MOVEMENT),
    ("superior_drift_deg", PhaseName.RAISE),
    ("off_axis_mean_deg", PhaseName.MOVEMENT),
    ("force_mean_N", PhaseName.MOVEMENT),
    ("force_cv_percent", PhaseName.MOVEMENT),
    ("hold_coverage_percent", PhaseName.MOVEMENT),
    ("elevation_speed_mean_deg_s", None),
)
"""The measures that are compared, each in its phase; None is of the whole repetition."""


@dataclass(frozen=True, slots=True)
class RecordingEvidence:
    """A measured recording, reduced.

    Attributes:
        facts: As `Trial.recording`.
        target: What it was measured against.
        settings: Parameters of the analysis.
        curves: Of its finished repetitions.
        measures: Of the same repetitions, by key of `COMPARED`; None where there is no value.
        unfinished: Numbers of the repetitions that are not among them.
    """

    facts: Mapping[str, Any]
    target: Target
    settings: Mapping[str, Any]
    curves: tuple[RepetitionCurves, ...]
    measures: tuple[Mapping[str, float | None], ...]
    unfinished: tuple[int, ...]

    @property
    def person(self) -> str:
        """Code, empty if none."""
        return str(self.facts["person"])

    @property
    def name(self) -> str:
        """File, for messages."""
        return str(self.facts["file"] or self.facts["uuid"])


def evidence_of(trial: Trial) -> RecordingEvidence:
    """Return what is kept of a trial."""
    finished = [one for one in trial.repetitions if one.spans.complete]
    return RecordingEvidence(
        facts=trial.recording,
        target=trial.target,
        settings=trial.settings,
        curves=curves_of(trial),
        measures=tuple(_measures(one) for one in finished),
        unfinished=tuple(one.number for one in trial.repetitions if not one.spans.complete),
    )


def _measures(repetition: Repetition) -> dict[str, float | None]:
    found: dict[str, float | None] = {}
    for key, phase in COMPARED:
        holder = repetition.measured if phase is None else repetition.phases[phase]
        value = holder.values[key]
        found[key] = float(value) if isinstance(value, int | float) else None
    return found
