"""What a comparison says in words, of comparisons whose numbers are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.comparison.against_band import AgainstBand
from analysis.comparison.change import Basis, Change, Changes
from analysis.comparison.comparison import ArcTest, Comparison, Family, compare
from analysis.comparison.curve_test import Cluster, CurveTest, Method, NoTest
from analysis.comparison.effect_sizes import Difference, Interval
from analysis.comparison.performance import performance_of
from analysis.reference.arc_curves import QUANTITIES, WAYS, RepetitionCurves
from analysis.reference.build import build_reference
from analysis.reference.evidence import COMPARED, RecordingEvidence
from analysis.reference.model import ReferenceSettings
from analysis.settings import AnalysisSettings
from analysis.target import Target
from ui.changed import change_in_words, change_values
from ui.compared import sentences, stretch_in_words
from ui.measure_words import interval_in_words

Floats = NDArray[np.float64]
MIDDLES: Floats = np.arange(20, dtype=np.float64) * 5.0 + 2.5
LEVELS = np.array([0.0, -5.0, 40.0, 20.0]).reshape(4, 1, 1)


def recording(person: str, seed: int, known_to: int = 20, uuid: str = "") -> RecordingEvidence:
    """Return six level repetitions, known up to a bin."""
    rng = np.random.default_rng(seed)
    values = LEVELS + rng.normal(size=(6, 4, 1, 1)) + 0.1 * rng.normal(size=(6, 4, 2, 20))
    values[..., known_to:] = np.nan
    facts = {
        "file": f"{person}.h5", "uuid": uuid or f"{person} {seed}", "sha256": None,
        "person": person, "side": "right", "started_utc": "2026-01-01T00:00:00Z",
        "duration_s": 60.0, "condition": "", "rig": "R01",
    }  # fmt: skip
    curves = tuple(
        RepetitionCurves(f"{person}.h5", person, number, MIDDLES, one, np.full_like(one, 0.7))
        for number, one in enumerate(values, 1)
    )
    measures = tuple({key: float(np.nanmean(one[0])) for key, _ in COMPARED} for one in values)
    settings = AnalysisSettings().to_dict()
    return RecordingEvidence(facts, Target(), settings, curves, measures, ())


@pytest.fixture(scope="module")
def beside() -> Comparison:
    """Return a trainee known on three quarters of the arc, beside six experts."""
    experts = [recording(f"E{n:02}", n) for n in range(1, 7)]
    reference = build_reference(experts, ReferenceSettings(resamples=300))
    return compare(performance_of([recording("T01", 20, known_to=15)]), reference=reference)


def test_what_is_known_of_the_arc_is_said_first_and_the_rest_of_that_part(
    beside: Comparison,
) -> None:
    said = sentences(beside)

    assert said[0].startswith("T01: known on 75 % of the experts’ arc, up to 75° of 100°.")
    assert not any("nowhere." in one for one in said)
    assert any("its mean leaves the band nowhere there." in one for one in said)


def test_of_the_whole_arc_nothing_needs_to_be_said(beside: Comparison) -> None:
    assert beside.against is not None
    whole: tuple[AgainstBand, ...] = tuple(
        replace(one, known_percent=100.0) for one in beside.against
    )

    said = " ".join(sentences(replace(beside, against=whole)))

    assert "known on" not in said
    assert "its mean leaves the band nowhere." in said


def test_an_expert_is_told_that_the_band_is_the_experts_own(beside: Comparison) -> None:
    said = sentences(replace(beside, among_experts=("E01", "E02"), in_reference=("a.h5",)))

    assert said[0].startswith("E01 and E02 are experts of this reference")
    assert said[1] == "The reference was made of what is compared: a.h5."


def test_a_stretch_of_one_degree_is_a_point() -> None:
    assert stretch_in_words(Cluster(81.9, 82.3, 0.006, higher=True)) == "at 82°"
    assert stretch_in_words(Cluster(40.0, 82.3, 0.006, higher=True)) == "from 40° to 82°"


def said_of_tests(*results: CurveTest | NoTest) -> str:
    """Return what is said of a family of tests of the first quantities."""
    tests = tuple(
        ArcTest(quantity, WAYS[0], result)
        for quantity, result in zip(QUANTITIES, results, strict=False)
    )
    after = performance_of([recording("T01", 1)])
    found = compare(after, before=performance_of([recording("T01", 2)]))
    return sentences(replace(found, families=(Family("Where?", "a curve", tests),)))[-1]


def nothing_found() -> CurveTest:
    return CurveTest(
        Method.FIELD, False, (6, 6), 0.05, MIDDLES, np.zeros(20), 3.0, 10.0, 20.0, ()
    )  # fmt: skip


def test_what_was_not_tested_is_not_called_alike() -> None:
    none = said_of_tests(NoTest("too few curves"), NoTest("too little arc"))
    some = said_of_tests(nothing_found(), NoTest("too little arc"))

    assert none == (
        "Where? Not tested (azimuth error on the raise): too few curves. "
        "Not tested (superior angle on the raise): too little arc."
    )
    assert some == (
        "Where? Of what was tested nowhere beyond chance. "
        "Not tested (superior angle on the raise): too little arc."
    )
    assert said_of_tests(nothing_found(), nothing_found()) == "Where? Nowhere beyond chance."


def change(key: str, value: float, low: float, high: float) -> Change:
    found = Difference(Interval(value, low, high), Interval(1.0, 0.1, 2.0), (4, 4), 0.001)
    return Change(key, 17.04, 17.04 + value, found, None, 0.009, 1.0, told=True, reason="")


def test_numbers_have_the_decimals_that_tell_them_apart() -> None:
    small = change("elevation_speed_mean_deg_s", 0.034, 0.011, 0.057)

    assert change_values(small) == ("17.04", "17.07")
    assert change_in_words(small)[0] == "+0.03 (+0.01 to +0.06)"
    assert interval_in_words("force_mean_N", Interval(0.7, 0.3, 1.1)) == "+0.7 (+0.3 to +1.1)"


def test_two_occasions_are_told_of_who_is_on_both_sides_only() -> None:
    after = performance_of([recording("T01", 1), recording("T02", 3)])

    said = sentences(compare(after, before=performance_of([recording("T01", 2)])))

    assert said[0] == "Before and after leave out T02, who was recorded after only."
    assert "nothing here says that T01 has changed" in said[1]


def test_recordings_without_a_code_are_taken_for_one_person_and_that_is_said() -> None:
    found = compare(performance_of([recording("", 1)]), before=performance_of([recording("", 2)]))

    assert "without a code; they are taken to be of one person" in sentences(found)[0]


@pytest.mark.parametrize(
    ("basis", "said"),
    [
        (Basis.SESSIONS, "by sessions: 4 sessions before, 4 after."),
        (Basis.SESSIONS, "Mean speed: 17.0°/s before, 19.0°/s after; changed by +2.0°/s (+1.0 to"),
        (Basis.SESSIONS, "(+1.0 to +3.0), p = 0.009 with all measures together."),
        (Basis.PEOPLE, "17.0°/s before, 19.0°/s after; changed on average by +2.0°/s ("),
    ],
)
def test_a_change_is_told_with_its_chance_among_all_measures(basis: Basis, said: str) -> None:
    after = performance_of([recording("T01", 1)])
    found = compare(after, before=performance_of([recording("T01", 2)]))
    measures = (change("elevation_speed_mean_deg_s", 2.0, 1.0, 3.0),)
    changes = Changes(basis, (4, 4), ("T01",), False, ("T07",), (), measures)

    told = sentences(replace(found, changes=changes))

    assert told[0] == "Before and after leave out T07, who was recorded before only."
    assert said in " ".join(told[1:])
    assert "with all measures together" in " ".join(told[1:])


def test_few_sessions_are_said_to_tell_large_changes_only() -> None:
    after = performance_of([recording("T01", 1)])
    found = compare(after, before=performance_of([recording("T01", 2)]))
    changes = Changes(Basis.SESSIONS, (1, 2), ("T01",), False, (), (), ())

    told = sentences(replace(found, changes=changes))

    assert told[0].endswith("1 session before, 2 after; so few tell large changes only.")
