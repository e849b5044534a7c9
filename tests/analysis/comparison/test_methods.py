from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.comparison.bland_altman import Design
from analysis.comparison.methods import agreement_of_methods
from analysis.errors import NotComparable
from analysis.reference.evidence import RecordingEvidence

Floats = NDArray[np.float64]
Recording = Callable[..., RecordingEvidence]
Repetitions = Callable[..., Floats]


def test_a_method_that_reads_more_has_that_bias(
    recording: Recording, repetitions: Repetitions
) -> None:
    values = [repetitions(np.random.default_rng(seed), 5) for seed in range(4)]
    pairs = [
        (
            recording(f"T{i:02}", one, file=f"a{i}.h5"),
            recording(f"T{i:02}", one + 2.0, file=f"b{i}.h5", rig="R02"),
        )
        for i, one in enumerate(values)
    ]

    found = agreement_of_methods(pairs)

    assert (found.same_time, found.same_rig) == (True, False)
    assert found.rigs == (("R01",), ("R02",))
    for one in found.measures:
        assert len(one.points) == 20
        assert one.agreement is not None
        assert one.agreement.design is Design.CHANGING
        assert (one.agreement.subjects, one.agreement.pairs) == (4, 20)
        assert one.agreement.bias.value == pytest.approx(2.0)
        assert one.agreement.upper.value - one.agreement.lower.value == pytest.approx(0.0, abs=1e-9)


def test_of_one_person_each_repetition_is_a_subject(
    recording: Recording, repetitions: Repetitions
) -> None:
    rng = np.random.default_rng(1)
    values = repetitions(rng, 6)
    apart = rng.normal(size=(6, 1, 1, 1))

    found = agreement_of_methods(
        [(recording("T01", values, file="a.h5"), recording("T01", values + apart, file="b.h5"))]
    )

    first = found.measures[0].agreement
    assert first is not None
    assert (first.design, first.subjects) == (Design.SINGLE, 6)
    assert first.bias.value == pytest.approx(float(apart.mean()))
    assert first.sd == pytest.approx(float(apart.std(ddof=1)))


def test_what_does_not_pair_is_refused_with_which_and_why(
    recording: Recording, repetitions: Repetitions
) -> None:
    values = repetitions(np.random.default_rng(1), 4)
    one, other = recording("T01", values, file="a.h5"), recording("T02", values, file="b.h5")
    fewer = recording("T01", values[:3], file="c.h5")

    for second, why in (
        (other, r"a\.h5 and b\.h5 are of different people"),
        (one, "the same recording"),
        (fewer, r"a\.h5 and c\.h5 do not hold the same finished repetitions"),
    ):
        with pytest.raises(NotComparable, match=why):
            agreement_of_methods([(one, second)])
    with pytest.raises(NotComparable, match="no pair of recordings could be used"):
        agreement_of_methods([])


def test_a_recording_that_is_on_both_sides_is_refused(
    recording: Recording, repetitions: Repetitions
) -> None:
    values = repetitions(np.random.default_rng(1), 4)
    one, other = (recording("T01", values, file=name) for name in ("a.h5", "b.h5"))

    with pytest.raises(NotComparable, match="which counts once only"):
        agreement_of_methods([(one, other), (other, one)])


@pytest.mark.parametrize(
    ("later_s", "lasting_s", "same"), [(5, 60.0, True), (40, 60.0, False), (10, 20.0, True)]
)
def test_only_recordings_of_one_time_hold_the_same_repetitions(
    recording: Recording, repetitions: Repetitions, later_s: int, lasting_s: float, same: bool
) -> None:
    values = repetitions(np.random.default_rng(1), 4)
    later = {
        "started_utc": f"2026-01-01T00:00:{later_s:02}Z", "duration_s": lasting_s, "rig": "R02",
    }  # fmt: skip
    pair = (recording("T01", values, file="a.h5"), recording("T01", values, file="b.h5", **later))

    found = agreement_of_methods([pair])

    assert found.same_time is same
    assert not found.same_rig


def test_one_rig_never_recorded_the_same_repetitions_twice(
    recording: Recording, repetitions: Repetitions
) -> None:
    values = repetitions(np.random.default_rng(1), 4)
    pair = (recording("T01", values, file="a.h5"), recording("T01", values, file="b.h5"))

    found = agreement_of_methods([pair])

    assert (found.same_time, found.same_rig) == (False, True)


def test_two_repetitions_of_one_person_show_no_limits(
    recording: Recording, repetitions: Repetitions
) -> None:
    values = repetitions(np.random.default_rng(1), 2)

    found = agreement_of_methods(
        [(recording("T01", values, file="a.h5"), recording("T01", values + 1.0, file="b.h5"))]
    )

    assert {one.reason for one in found.measures} == {
        "too few for limits of agreement (2): at least 3 are needed"
    }
