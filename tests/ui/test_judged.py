"""Repetitions against their criteria, gathered for people."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from acquisition.recording.reader import read_recording
from analysis.criteria import Verdict
from analysis.pipeline import analyse
from analysis.trial import Measured, Trial
from ui.judged import Change, changes, judged, nothing_to_change, reasons, tally


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


def test_the_tally_has_every_criterion_once_and_trouble_first(trial: Trial) -> None:
    found = tally(judged(trial))

    labels = [label for labels in found.values() for label in labels]
    assert sorted(labels) == sorted(set(labels))
    assert len(labels) == 6
    assert next(iter(found)) is Verdict.NOT_MET
    assert found[Verdict.NOT_MET]["upward push"] == [1]


def test_repetitions_that_agree_are_advised_together(trial: Trial) -> None:
    (change,) = changes(judged(trial) * 2)

    assert [number for number, _ in change.places] == [1, 1]


def test_what_could_not_be_decided_is_not_called_good(trial: Trial) -> None:
    (one,) = judged(trial)
    met, open_ = (
        replace(one, criteria=tuple(replace(c, verdict=verdict) for c in one.criteria))
        for verdict in (Verdict.MET, Verdict.UNDECIDED)
    )

    assert nothing_to_change([met]) == "Nothing to change: every criterion was met."
    assert nothing_to_change([met, open_]).startswith("No criterion was missed, but not every")


def test_places_are_told_line_by_line_and_those_without_one_together() -> None:
    change = Change("Slow down.", ((1, "from 0° to 9° on the way up"), (2, ""), (4, "")))

    assert change.told == (
        "repetition 1: from 0° to 9° on the way up",
        "repetition 2, 4: throughout",
    )


def test_a_reason_is_told_once_for_the_measures_that_matter() -> None:
    blind = Measured({"a": None, "b": None, "c": 1.0}, {"a": "too light", "b": "too light"})

    assert reasons([blind, blind]) == {"too light": ["a", "b"]}
    assert reasons([blind], {"b", "c"}) == {"too light": ["b"]}
    assert reasons([blind], {"c"}) == {}
