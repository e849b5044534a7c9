"""The report of a trial as one HTML page: a function of its data, no scripts, no network."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from analysis.criteria import Criterion, judge, one_thing
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.trial import PhaseName, QualityFinding, Repetition, Severity, Trial
from ui.numbers import shown, with_u
from ui.report import figures

MARKS = {"met": "✓", "not met": "✗", "undecided": "?", "not known": "—"}
"""A sign beside the word, so that colour never carries a verdict alone."""


@dataclass(frozen=True, slots=True)
class RepetitionCard:
    """What the page says of one repetition.

    Attributes:
        number: From 1.
        complete: It lies whole in the recording.
        headline: Direction in one line.
        change: The one thing to change, empty if all criteria are met.
        criteria: All of them.
    """

    number: int
    complete: bool
    headline: str
    change: str
    criteria: tuple[Criterion, ...]


def build_report(trial: Trial) -> str:
    """Return the page. The same trial gives the same bytes."""
    environment = Environment(
        loader=PackageLoader("ui.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page = environment.get_template("trial.html.j2")
    return page.render(
        facts=trial.recording,
        target=trial.target,
        settings=trial.settings,
        quality=trial.quality,
        concerns=_concerns(trial.quality),
        cards=[_card(trial, repetition) for repetition in trial.repetitions],
        marks=MARKS,
        figures=_figures(trial),
        phase_table=_phase_table(trial),
        whole_table=_whole_table(trial),
        reasons=_reasons(trial),
        phases=[name.value for name in PhaseName],
    )


def _concerns(quality: tuple[QualityFinding, ...]) -> list[QualityFinding]:
    return [finding for finding in quality if finding.severity is not Severity.FINE]


def _figures(trial: Trial) -> Mapping[str, Markup]:
    if not trial.repetitions:
        return {"time": Markup(figures.over_time(trial))}  # noqa: S704, RUF100 - our own drawing
    drawn = {
        "map": figures.target_maps(trial),
        "arc": figures.against_elevation(trial),
        "time": figures.over_time(trial),
    }
    return {name: Markup(svg) for name, svg in drawn.items()}  # noqa: S704, RUF100 - our own


def _card(trial: Trial, repetition: Repetition) -> RepetitionCard:
    criteria = judge(repetition, trial.series, trial.target)
    first = one_thing(criteria)
    change = ""
    if first is not None:
        change = first.advice + (f" It happened {first.where}." if first.where else "")
    return RepetitionCard(
        number=repetition.number,
        complete=repetition.spans.complete,
        headline=_headline(repetition),
        change=change,
        criteria=criteria,
    )


def _headline(repetition: Repetition) -> str:
    movement = repetition.phases[PhaseName.MOVEMENT].values
    if movement["azimuth_mean_deg"] is None:
        return "No direction: " + repetition.phases[PhaseName.MOVEMENT].reasons["azimuth_mean_deg"]
    azimuth = with_u(movement["azimuth_mean_deg"], movement["azimuth_u_deg"])
    superior = with_u(
        movement["superior_angle_mean_deg"], movement["superior_angle_u_deg"], sign="+"
    )
    force = shown(movement["force_mean_N"], 0)
    return f"{force} N, {azimuth}° outward of straight back, {superior}° upward"


def _phase_table(trial: Trial) -> list[dict[str, Any]]:
    return [
        {
            "measure": measure,
            "cells": [
                [
                    shown(repetition.phases[name].values[measure.key], measure.decimals)
                    for name in PhaseName
                ]
                for repetition in trial.repetitions
            ],
        }
        for measure in PHASE_MEASURES
    ]


def _whole_table(trial: Trial) -> list[dict[str, Any]]:
    return [
        {
            "measure": measure,
            "cells": [
                shown(repetition.measured.values[measure.key], measure.decimals)
                for repetition in trial.repetitions
            ],
        }
        for measure in REPETITION_MEASURES
    ]


def _reasons(trial: Trial) -> dict[str, str]:
    """Return each measure that is missing somewhere with its reason."""
    found: dict[str, str] = {}
    for repetition in trial.repetitions:
        for measured in (repetition.measured, *repetition.phases.values()):
            found.update(measured.reasons)
    return found
