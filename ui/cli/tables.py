"""Results as tables for a terminal, on stdout. They fit 80 columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from acquisition.link import SILENT_EVENT
from analysis.criteria import Criterion, Verdict
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.trial import PhaseName, Repetition, Severity, Trial
from ui.judged import (
    MEANINGS,
    SIGNS,
    Judged,
    all_measured,
    changes,
    judged,
    none_found,
    nothing_to_change,
    reasons,
)
from ui.numbers import shown, with_u
from ui.practised import drill_lines, practised

STYLES = {
    Verdict.MET: "bold blue",
    Verdict.NOT_MET: "bold dark_orange",
    Verdict.UNDECIDED: "bold",
    Verdict.UNKNOWN: "dim",
}
COLUMNS = (
    ("azimuth_mean_deg", "azimuth", "°"),
    ("superior_angle_mean_deg", "upward", "°"),
    ("off_axis_mean_deg", "off target", "°"),
    ("force_mean_N", "force", "N"),
    ("hold_coverage_percent", "hold", "%"),
    ("on_target_percent", "on target", "%"),
)
"""What a person wants of a movement at a glance; ± is the standard uncertainty."""
UNCERTAINTIES = {
    "azimuth_mean_deg": "azimuth_u_deg",
    "superior_angle_mean_deg": "superior_angle_u_deg",
    "off_axis_mean_deg": "off_axis_u_deg",
    "force_mean_N": "force_u_N",
}
FACTS = (
    "file", "status", "started_utc", "person", "trial", "condition", "note", "rig", "side", "axes",
    "firmware", "protocol", "software", "uuid", "sha256",
)  # fmt: skip


def print_all(results: Sequence[RenderableType]) -> None:
    """Print results one after another, an empty line between them."""
    console = Console(highlight=False)
    for number, result in enumerate(results):
        if number:
            console.print()
        console.print(result)


def trial_table(trial: Trial, *, whole: bool = False) -> RenderableType:
    """Return a trial: what it is, what to trust, each repetition against its criteria.

    Args:
        trial: The trial.
        whole: Every measure of every phase too.
    """
    parts: list[RenderableType] = [_title(trial), *_quality(trial)]
    if trial.target.scapula is not None:
        parts.append(Text(f"target: {trial.target.scapula.in_words}"))
    if not trial.repetitions:
        return Group(*parts, Text(none_found(trial)))
    repetitions = judged(trial)
    space = Text()
    parts += [space, _numbers(trial), space, _verdicts(repetitions), _legend(repetitions), space]
    parts += _advice(repetitions)
    parts += [_item(line) for line in practised(trial)]
    parts += [_item(f"stop {line}") for line in drill_lines(trial.stop_drills)]
    if whole:
        parts += [space]
        for repetition in trial.repetitions:
            parts += [_every_measure(repetition), space]
        parts += _reasons(reasons(all_measured(trial)))
    else:
        movements = (one.phases[PhaseName.MOVEMENT] for one in trial.repetitions)
        parts += _reasons(reasons(movements, {key for key, *_ in COLUMNS}))
    return Group(*parts)


def facts_table(facts: Mapping[str, Any]) -> Table:
    """Return what `perpend info` knows of one recording."""
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold")
    for key in FACTS:
        value = facts[key]
        table.add_row(key.replace("_", " "), Text("—" if value in ("", None) else str(value)))
    table.add_row("target", "kept with it" if facts["target"] else "none; the default applies")
    for name, stream in facts["streams"].items():
        size = (
            f"{stream['samples']} samples, {stream['rate_hz']:g} Hz, {stream['duration_s']:.1f} s"
        )
        table.add_row(f"stream {name}", Text(f"{size} ({' '.join(stream['channels'])})"))
    counted = [
        f"{name.replace('_', ' ')} {n}"
        for name, n in facts["link"].items()
        if n and name != "frames"
    ]
    fell_silent = any(event["kind"] == SILENT_EVENT for event in facts["events"])
    nothing = "no number left out, but a stream fell silent" if fell_silent else "nothing lost"
    table.add_row("line", ", ".join(counted) or nothing)
    for clock in facts["clocks"]:
        stretch = f" {clock['segment'] + 1}" if len(facts["clocks"]) > 1 else ""
        table.add_row(f"rig clock{stretch}", Text(_clock(clock)))
    for event in facts["events"]:
        table.add_row("event", Text(": ".join(filter(None, (event["kind"], event["text"])))))
    for fault in facts["faults"]:
        table.add_row("rig fault", Text(fault))
    return table


def _clock(clock: Mapping[str, Any]) -> str:
    drift = "drift not told by so few"
    if clock["drift_ppm"] is not None:
        way = "slow" if clock["drift_ppm"] > 0 else "fast"
        drift = f"{abs(clock['drift_ppm']):.1f} ppm too {way} against ours"
    return (
        f"{drift}, residual {clock['residual_ms']:.3f} ms, known to "
        f"{clock['bound_ms']:.3f} ms ({clock['answers']} answers)"
    )


def _title(trial: Trial) -> Text:
    facts = trial.recording
    about = [
        facts["person"] or "no code",
        facts["condition"].replace("_", " "),
        f"{facts['side']} rig {facts['rig']}",
        f"{facts['duration_s']:.0f} s",
    ]
    title = Text(facts["file"] or facts["uuid"], style="bold")
    return title.append(f"  {' · '.join(filter(None, about))}", style="not bold")


def _quality(trial: Trial) -> list[RenderableType]:
    concerns = [one for one in trial.quality if one.severity is not Severity.FINE]
    checks = len(trial.quality)
    if not concerns:
        return [Text(f"data quality: all {checks} checks within their limits")]
    return [
        Text(f"data quality: {len(concerns)} of {checks} checks need a look"),
        *(
            _item(f"{one.severity.value}: {one.key.replace('_', ' ')}: {one.value}. {one.advice}")
            for one in concerns
        ),
    ]


def _numbers(trial: Trial) -> Table:
    table = titled("over the movement")
    for _, name, unit in COLUMNS:
        table.add_column(f"{name}\n{unit}", justify="right", no_wrap=True)
    for repetition in trial.repetitions:
        values = repetition.phases[PhaseName.MOVEMENT].values
        cells = []
        for key, *_ in COLUMNS:
            if key in UNCERTAINTIES:
                sign = "+" if key == "superior_angle_mean_deg" else ""
                cells.append(with_u(values[key], values[UNCERTAINTIES[key]], sign=sign))
            else:
                cells.append(shown(values[key], 0))
        table.add_row(_name(repetition), *cells)
    return table


def _verdicts(repetitions: Sequence[Judged]) -> Table:
    table = titled("against its criteria")
    for criterion in repetitions[0].criteria:
        table.add_column(f"{criterion.label}\n{criterion.wanted}", justify="right", no_wrap=True)
    for one in repetitions:
        table.add_row(_name(one.repetition), *(_cell(criterion) for criterion in one.criteria))
    return table


def titled(title: str, first: str = "") -> Table:
    """Return an empty table in our style; its first column names the rows."""
    table = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
    )
    table.add_column(first, no_wrap=True)
    return table


def _cell(criterion: Criterion) -> Text:
    sign = Text(SIGNS[criterion.verdict], style=STYLES[criterion.verdict])
    if criterion.verdict is Verdict.UNKNOWN:
        return sign
    return sign.append(f" {criterion.found}", style="not bold default")


def _legend(repetitions: Sequence[Judged]) -> Text:
    used = {criterion.verdict for one in repetitions for criterion in one.criteria}
    meanings = (f"{SIGNS[verdict]} {MEANINGS[verdict]}" for verdict in Verdict if verdict in used)
    return Text("  ".join(("± standard uncertainty", *meanings)), style="dim")


def _advice(repetitions: Sequence[Judged]) -> list[RenderableType]:
    lines: list[RenderableType] = []
    for change in changes(repetitions):
        lines.append(Text(f"change first: {change.advice}", style="bold"))
        lines += [_item(place) for place in change.told]
    return lines or [Text(nothing_to_change(repetitions))]


def _every_measure(repetition: Repetition) -> Table:
    table = titled(f"repetition {_name(repetition)}", "measure")
    table.add_column("unit")
    for name in PhaseName:
        table.add_column(name.value, justify="right")
    for measure in PHASE_MEASURES:
        values = (repetition.phases[name].values[measure.key] for name in PhaseName)
        row = (shown(value, measure.decimals) for value in values)
        table.add_row(measure.key, measure.unit, *row)
    table.add_section()
    for whole in REPETITION_MEASURES:
        value = shown(repetition.measured.values[whole.key], whole.decimals)
        table.add_row(whole.key, whole.unit, "", "", value)
    return table


def _reasons(found: Mapping[str, Sequence[str]]) -> list[RenderableType]:
    return [_item(f"— {', '.join(keys)}: {reason}") for reason, keys in found.items()]


def _name(repetition: Repetition) -> str:
    return (
        f"{repetition.number}" if repetition.spans.complete else f"{repetition.number} unfinished"
    )


def _item(text: str) -> Padding:
    return Padding(Text(text), (0, 0, 0, 2))
