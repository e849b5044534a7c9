"""The report of a trial as one HTML page: a function of its data, no scripts, no network."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from importlib.metadata import version
from typing import Any

from markupsafe import Markup

from acquisition.software import software
from analysis.criteria import Verdict
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES, Measure
from analysis.trial import Measured, PhaseName, QualityFinding, Repetition, Severity, Trial
from ui.judged import (
    MEANINGS,
    SIGNS,
    Judged,
    all_measured,
    changes,
    interval_reasons,
    judged,
    none_found,
    nothing_to_change,
    reasons,
    tally,
)
from ui.numbers import interval_shown, shown, with_u
from ui.practised import drill_lines, practised
from ui.report.figures import filtering
from ui.report.figures.kinds import FIGURES
from ui.report.methods import methods_of
from ui.report.page import page

PHASE_COLUMNS, WHOLE_COLUMNS = 3, 7
"""Repetitions beside each other in the tables of measures: what a printed page takes."""
LIBRARIES = ("numpy", "scipy", "vqf")
"""Those whose numbers ours rest on."""
ABOUT = (
    ("file", "file"), ("identifier", "uuid"), ("content hash (SHA-256)", "sha256"),
    ("cell calibrated on", "calibrated_on"), ("firmware of the rig", "firmware"),
    ("recorded by", "software"), ("ended", "status"),
)  # fmt: skip


def build_report(trial: Trial) -> str:
    """Return the page. The same trial gives the same bytes."""
    repetitions = judged(trial)
    return page(
        "trial.html.j2",
        facts=trial.recording,
        target=trial.target,
        methods=methods_of(trial),
        filter_figures=[_svg(drawn) for drawn in filtering.draw(trial)],
        quality=trial.quality,
        concerns=_concerns(trial.quality),
        repetitions=repetitions,
        none_found=none_found(trial),
        tally=tally(repetitions),
        changes=changes(repetitions),
        nothing_to_change=nothing_to_change(repetitions),
        practised=practised(trial),
        drills=drill_lines(trial.stop_drills),
        criteria=_by_criterion(repetitions),
        means=_means(trial),
        signs=SIGNS,
        meanings=_meanings(repetitions),
        figures=list(_figures(trial)),
        phase_tables=list(_phase_tables(trial)),
        whole_tables=list(_whole_tables(trial)),
        reasons=reasons(all_measured(trial)),
        interval_reasons=interval_reasons(all_measured(trial)),
        phases=[name.value for name in PhaseName],
        dictionary=(*PHASE_MEASURES, *REPETITION_MEASURES),
        about=[(label, trial.recording[key]) for label, key in ABOUT],
        versions=", ".join((software(), *(f"{name} {version(name)}" for name in LIBRARIES))),
        parameters=list(_parameters(trial.settings)),
    )


def _concerns(quality: Sequence[QualityFinding]) -> list[QualityFinding]:
    return [finding for finding in quality if finding.severity is not Severity.FINE]


def _by_criterion(repetitions: Sequence[Judged]) -> list[tuple[Any, ...]]:
    """Return for each criterion how each repetition stands."""
    return list(zip(*(one.criteria for one in repetitions), strict=True))


def _meanings(repetitions: Sequence[Judged]) -> dict[Verdict, str]:
    used = {criterion.verdict for one in repetitions for criterion in one.criteria}
    return {verdict: meaning for verdict, meaning in MEANINGS.items() if verdict in used}


def _means(trial: Trial) -> list[dict[str, Any]]:
    """Return the mean direction of each repetition, with what was wanted."""
    azimuth, tilt = trial.target.glide_azimuth_deg, -trial.target.inferior_tilt_deg
    where = "target at home" if trial.target.scapula else "target"
    rows = (
        ("outward of straight back", f"azimuth: {where} {shown(azimuth, 0)}°", "azimuth", ""),
        (
            "upward of level",
            f"superior angle: {where} {shown(tilt, 0, sign='+')}°",
            "superior_angle",
            "+",
        ),
    )
    return [
        {
            "label": label,
            "what": what,
            "cells": [_mean(repetition, key, sign) for repetition in trial.repetitions],
        }
        for label, what, key, sign in rows
    ]


def _mean(repetition: Repetition, key: str, sign: str) -> str:
    values = repetition.phases[PhaseName.MOVEMENT].values
    text = with_u(values[f"{key}_mean_deg"], values[f"{key}_u_deg"], sign=sign)
    return text if values[f"{key}_mean_deg"] is None else f"{text}°"


def _figures(trial: Trial) -> Iterator[dict[str, Any]]:
    for kind in FIGURES:
        drawn = kind.draw(trial)
        if drawn:
            yield {
                "key": kind.key,
                "heading": kind.heading,
                "lead": kind.lead(trial),
                "svgs": [_svg(one) for one in drawn],
            }


def _svg(drawn: str) -> Markup:
    """Return a drawing of our own, of numbers and our own words, as it is."""
    return Markup(drawn)  # noqa: S704, RUF100 - our own


def _groups(trial: Trial, size: int) -> Iterator[tuple[Repetition, ...]]:
    for start in range(0, len(trial.repetitions), size):
        yield trial.repetitions[start : start + size]


def _phase_tables(trial: Trial) -> Iterator[dict[str, Any]]:
    """Yield the measures of every phase, a few repetitions to a table."""
    for group in _groups(trial, PHASE_COLUMNS):
        rows = [
            {
                "measure": measure,
                "cells": [
                    [_cell(repetition.phases[name], measure) for name in PhaseName]
                    for repetition in group
                ],
            }
            for measure in PHASE_MEASURES
        ]
        yield {"repetitions": group, "rows": rows}


def _cell(measured: Measured, measure: Measure[Any]) -> tuple[str, str]:
    """Return a measure and its interval as text, the latter empty if it has none."""
    value = shown(measured.values[measure.key], measure.decimals)
    if measure.key not in measured.intervals:
        return value, ""
    return value, interval_shown(measured.intervals[measure.key], measure.decimals)


def _whole_tables(trial: Trial) -> Iterator[dict[str, Any]]:
    """Yield the measures of whole repetitions, some to a table."""
    for group in _groups(trial, WHOLE_COLUMNS):
        rows = [
            {
                "measure": measure,
                "cells": [
                    shown(repetition.measured.values[measure.key], measure.decimals)
                    for repetition in group
                ],
            }
            for measure in REPETITION_MEASURES
        ]
        yield {"repetitions": group, "rows": rows}


def _parameters(settings: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, str]]:
    """Yield every parameter of the analysis with its value, those of its parts with their path."""
    for key, value in settings.items():
        if isinstance(value, Mapping):
            yield from _parameters(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", "as the force stream" if value is None else f"{value}"
