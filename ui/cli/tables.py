"""Results as tables for a terminal, on stdout."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from analysis.criteria import Criterion, Verdict, judge, one_thing
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.trial import Measured, PhaseName, Repetition, Severity, Trial
from ui.numbers import shown, with_u

MARKS = {
    Verdict.MET: ("✓", "bold blue"),
    Verdict.NOT_MET: ("✗", "bold dark_orange"),
    Verdict.UNDECIDED: ("?", "bold"),
    Verdict.UNKNOWN: ("—", "dim"),
}
"""A sign for each verdict, so that colour never carries it alone."""
COLUMNS = (
    ("", ""),
    ("azimuth", "°"),
    ("upward", "°"),
    ("off", "°"),
    ("force", "N"),
    ("hold", "%"),
    ("on target", "%"),
    ("fastest", "°/s"),
)


def print_trial(trial: Trial, *, every_measure: bool = False) -> None:
    """Print a trial: what it is, what to trust, each repetition against its criteria."""
    console = Console(highlight=False)
    facts = trial.recording
    console.print(
        f"[bold]{facts['file'] or facts['uuid']}[/]  {facts['person'] or 'no code'}  "
        f"rig {facts['rig']} ({facts['side']})  {facts['duration_s']:.0f} s"
    )
    _print_quality(console, trial)
    if not trial.repetitions:
        console.print("no repetition: the arm never left home past 30° and came back")
        return
    judged = [judge(repetition, trial.series, trial.target) for repetition in trial.repetitions]
    console.print(_numbers(trial))
    console.print(_verdicts(judged))
    for repetition, criteria in zip(trial.repetitions, judged, strict=True):
        change = one_thing(criteria)
        if change is not None:
            place = f" ({change.where})" if change.where else ""
            console.print(f"  [bold]{repetition.number}[/] change first: {change.advice}{place}")
    if every_measure:
        _print_every_measure(console, trial)


def print_facts(facts: Mapping[str, Any]) -> None:
    """Print what `perpend info` knows of one recording."""
    console = Console(highlight=False)
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold")
    for key in (
        "file", "status", "started_utc", "person", "condition", "note", "rig", "side", "axes",
        "firmware", "protocol", "software", "uuid", "sha256",
    ):  # fmt: skip
        table.add_row(
            key.replace("_", " "), str(facts[key] if facts[key] not in ("", None) else "—")
        )
    for name, stream in facts["streams"].items():
        channels = " ".join(stream["channels"])
        text = (
            f"{stream['samples']} samples, {stream['rate_hz']:g} Hz, {stream['duration_s']:.1f} s"
        )
        table.add_row(f"stream {name}", f"{text} ({channels})")
    counted = ", ".join(
        f"{name.replace('_', ' ')} {n}"
        for name, n in facts["link"].items()
        if n and name != "frames"
    )
    table.add_row("line", counted or "nothing lost")
    for event in facts["events"]:
        table.add_row(
            "event", f"{event['kind']}: {event['text']}" if event["text"] else event["kind"]
        )
    for fault in facts["faults"]:
        table.add_row("rig fault", fault)
    console.print(table)


def _print_quality(console: Console, trial: Trial) -> None:
    concerns = [one for one in trial.quality if one.severity is not Severity.FINE]
    if not concerns:
        console.print(f"data quality: all {len(trial.quality)} checks within their limits")
        return
    console.print(f"data quality: {len(concerns)} of {len(trial.quality)} checks need a look")
    for one in concerns:
        name = one.key.replace("_", " ")
        console.print(f"  [bold]{one.severity.value}[/] {name}: {one.value}. {one.advice}")


def _numbers(trial: Trial) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    for name, unit in COLUMNS:
        table.add_column(f"{name}\n{unit}", justify="right", no_wrap=True)
    for repetition in trial.repetitions:
        table.add_row(*_number_row(repetition))
    return table


def _verdicts(judged: Sequence[Sequence[Criterion]]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1))
    table.add_column("")
    for criterion in judged[0]:
        table.add_column(criterion.label.replace(" ", "\n", 1), justify="center", style="bold")
    for number, criteria in enumerate(judged, 1):
        table.add_row(str(number), *(_mark(criterion) for criterion in criteria))
    return table


def _number_row(repetition: Repetition) -> list[str]:
    movement = repetition.phases[PhaseName.MOVEMENT].values
    number = (
        f"{repetition.number}" if repetition.spans.complete else f"{repetition.number} unfinished"
    )
    return [
        number,
        with_u(movement["azimuth_mean_deg"], movement["azimuth_u_deg"]),
        with_u(movement["superior_angle_mean_deg"], movement["superior_angle_u_deg"], sign="+"),
        shown(movement["off_axis_mean_deg"], 1),
        shown(movement["force_mean_N"], 0),
        shown(movement["hold_coverage_percent"], 0),
        shown(movement["on_target_percent"], 0),
        shown(repetition.measured.values["elevation_speed_peak_deg_s"], 0),
    ]


def _print_every_measure(console: Console, trial: Trial) -> None:
    for repetition in trial.repetitions:
        table = Table(box=box.SIMPLE_HEAD, title=f"repetition {repetition.number}", pad_edge=False)
        table.add_column("measure", no_wrap=True)
        table.add_column("unit")
        for name in PhaseName:
            table.add_column(name.value, justify="right")
        for measure in PHASE_MEASURES:
            values = (repetition.phases[name].values[measure.key] for name in PhaseName)
            row = (shown(value, measure.decimals) for value in values)
            table.add_row(measure.key, measure.unit, *row)
        for whole in REPETITION_MEASURES:
            value = shown(repetition.measured.values[whole.key], whole.decimals)
            table.add_row(whole.key, whole.unit, "", "", value)
        console.print(table)
        for reason, keys in _reasons([repetition.measured, *repetition.phases.values()]).items():
            console.print(f"  — {', '.join(keys)}: {reason}")


def _reasons(measured: Sequence[Measured]) -> dict[str, list[str]]:
    """Return each reason once, with the measures it stands for."""
    found: dict[str, list[str]] = {}
    for one in measured:
        for key, reason in one.reasons.items():
            keys = found.setdefault(reason, [])
            if key not in keys:
                keys.append(key)
    return found


def _mark(criterion: Criterion) -> Text:
    sign, style = MARKS[criterion.verdict]
    return Text(f"{sign} {criterion.verdict.value}", style=style)
