"""Under which plan a trial was practised, and how calls to stop were answered, in lines."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from analysis.said import listed, said
from analysis.stop_drill import KEYS
from analysis.trial import Practice, StopDrill, Trial
from ui.numbers import shown

HASH_LETTERS = 8
"""Enough to tell two plans of one name apart."""


def practised(trial: Trial) -> tuple[str, ...]:
    """Return a line for each stretch of repetitions under one condition; none without a plan."""
    planned = [(one.number, one.practice) for one in trial.repetitions if one.practice]
    lines = [_line(list(same)) for _, same in groupby(planned, key=_condition)]
    aside = [
        said("repetition {} does not count: {}", number, practice.set_aside)
        for number, practice in planned
        if practice.set_aside
    ]
    return (*lines, *aside)


def drill_lines(drills: Sequence[StopDrill]) -> tuple[str, ...]:
    """Return a line for each call to stop."""
    return tuple(
        said("called at {} s: {}", shown(drill.called_s, 1), listed(", ", _answers(drill)))
        for drill in drills
    )


def drill_words(drill: StopDrill | None) -> tuple[str, ...]:
    """Return how a call was answered, a part for each thing that is measured."""
    return () if drill is None else tuple(_answers(drill))


def _answers(drill: StopDrill) -> list[str]:
    parts = []
    for key, label, unit, decimals in KEYS:
        value = drill.measured.values[key]
        sign = "+" if key == "stop_superior_rise_N" else ""
        number = f"{shown(value, decimals, sign=sign)} {unit}".replace(" °", "°")
        reason = drill.measured.reasons.get(key, "")
        parts.append(
            said("{}: — ({})", label, reason) if value is None else said("{}: {}", label, number)
        )
    return parts


def _condition(one: tuple[int, Practice]) -> tuple[str, str, int]:
    _, practice = one
    return practice.plan, practice.plan_sha256, practice.block


def _line(same: Sequence[tuple[int, Practice]]) -> str:
    first = same[0][1]
    numbers = f"{same[0][0]}" + (f" to {same[-1][0]}" if len(same) > 1 else "")
    shares = [practice.picture_percent for _, practice in same]
    low, high = f"{min(shares):.0f}", f"{max(shares):.0f}"
    seen = low if low == high else f"{low} to {high}"
    plan = f"plan {first.plan} ({first.plan_sha256[:HASH_LETTERS]})"
    block = f"block {first.block}, {first.block_name}"
    condition = f"feedback {first.feedback.replace('_', ' ')}, picture seen {seen} % of the time"
    return f"repetition {numbers}: {plan}, {block}: {condition}"
