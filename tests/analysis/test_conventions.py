"""The page of conventions names every parameter with the value that the code has."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

import analysis
from analysis.measure_settings import MeasureSettings
from analysis.measures import PHASE_MEASURES, REPETITION_MEASURES
from analysis.pipeline import analyse
from analysis.repetition_settings import RepetitionSettings
from analysis.scapula import ScapularRhythm
from analysis.settings import AnalysisSettings
from analysis.target import Target

PAGE = Path(str(analysis.__file__)).with_name("CONVENTIONS.md").read_text(encoding="utf-8")
NAMES = re.compile(r"`([^`]+)`")
KEYS = [one.key for one in PHASE_MEASURES] + [one.key for one in REPETITION_MEASURES]


def rows() -> Iterator[tuple[list[str], list[str], str]]:
    """Yield the names, the values and the reason of each row of three columns."""
    for line in PAGE.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("| `") and len(cells) == 3:
            yield NAMES.findall(cells[0]), [v.strip() for v in cells[1].split(",")], cells[2]


STATED = {
    name: (value, reason)
    for names, values, reason in rows()
    if len(names) == len(values)
    for name, value in zip(names, values, strict=True)
}


def parameters() -> Iterator[tuple[str, Any]]:
    tables: list[tuple[str, Any]] = [
        ("", AnalysisSettings()),
        ("", RepetitionSettings()),
        ("", MeasureSettings()),
        ("", Target()),
        ("scapula.", ScapularRhythm()),
        ("force_band.", Target().force_band),
    ]
    for prefix, table in tables:
        for name, value in msgspec.structs.asdict(table).items():
            if isinstance(value, int | float):
                yield prefix + name, value


@pytest.mark.parametrize(("name", "value"), list(parameters()), ids=str)
def test_a_parameter_stands_there_with_its_value_and_a_reason(name: str, value: float) -> None:
    stated, reason = STATED[name]

    assert float(stated.split()[0]) == pytest.approx(value)
    assert reason


@pytest.mark.parametrize("key", KEYS)
def test_a_measure_is_defined_there(key: str) -> None:
    assert f"`{key}`" in PAGE


def test_nothing_is_defined_there_that_is_none() -> None:
    known = {name.rpartition(".")[2] for name, _ in parameters()} | set(KEYS)
    units = re.compile(r"_(deg|N|percent|mm|hz|n|s|rad|deg_s)$")

    named = {name.rpartition(".")[2] for names, *_ in rows() for name in names}

    strange = {name for name in named if units.search(name)} - known
    assert strange <= {"tolerance_deg", "calibrated_to_n"}


def test_every_quality_finding_stands_there(told: Callable[..., Any]) -> None:
    trial = analyse(told(axes=6, stabiliser=True, repetitions=1, seed=4).recording)

    for finding in trial.quality:
        key = re.sub(r"_(force|imu|stabiliser)$", "_…", finding.key)
        if not key.startswith(("lost_samples", "rate", "jitter", "stuck")):
            key = finding.key
        assert f"`{key}`" in PAGE
