from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from msgspec.structs import replace

from analysis.errors import NotComparable
from analysis.reference.bands import Scope
from analysis.reference.build import build_reference
from analysis.reference.evidence import RecordingEvidence
from analysis.reference.model import Reference, ReferenceSettings, as_array
from analysis.target import Target
from analysis.trial import PhaseName

People = Callable[..., list[RecordingEvidence]]
QUICK = ReferenceSettings(resamples=200)


def test_the_same_recordings_give_the_same_reference_in_any_order(people: People) -> None:
    given = people()

    assert build_reference(given, QUICK) == build_reference(given[::-1], QUICK)


def test_another_seed_draws_other_worlds(people: People) -> None:
    given = people()

    one, other = (
        build_reference(given, replace(QUICK, seed=seed)).bands["force_N"].factor for seed in (1, 2)
    )

    assert one != other
    assert one == pytest.approx(other, rel=0.2)


def test_the_mean_is_that_of_the_experts_and_each_keeps_its_own(people: People) -> None:
    given = people(4)

    reference = build_reference(given, QUICK)

    force = [np.mean([curves.values[2, 0] for curves in one.curves], axis=0) for one in given]
    band = reference.bands["force_N"].ways[PhaseName.RAISE]
    np.testing.assert_allclose(as_array(band.mean), np.mean(force, axis=0), atol=1e-6)
    for expert, mean in zip(reference.experts, force, strict=True):
        own = expert.mean["force_N"][PhaseName.RAISE]
        np.testing.assert_allclose(as_array(own), mean, atol=1e-6)


def test_four_experts_stand_for_others_and_three_only_for_themselves(people: People) -> None:
    four, three = (build_reference(people(count), QUICK) for count in (4, 3))

    assert four.scope is Scope.ANY_EXPERT
    assert "experts like these 4" in four.meaning
    assert three.scope is Scope.THESE_EXPERTS
    assert "nothing about other experts: for that at least 4" in three.meaning


def test_too_few_repetitions_are_refused_with_who_and_how_many(people: People) -> None:
    given = [*people(4), *(people(5, 3)[4:])]

    with pytest.raises(NotComparable, match=r"E05 has 3; at least 5 of each expert"):
        build_reference(given, QUICK)


def test_a_repetition_without_a_part_of_the_arc_is_left_out_and_named(
    people: People, recording: Callable[..., RecordingEvidence]
) -> None:
    given = people(4, 8)
    values = np.stack([curves.values for curves in given[0].curves])
    values[2, :, 1, 5] = np.nan
    given[0] = recording("E01", values, unfinished=(9,))

    reference = build_reference(given, QUICK)

    told = {one.repetition: one.reason for one in reference.recordings[0].left_out}
    assert told == {9: "unfinished", 3: "no direction on a part of the arc that the others have"}
    assert reference.recordings[0].used == (1, 2, 4, 5, 6, 7, 8)
    assert [expert.repetitions for expert in reference.experts] == [7, 8, 8, 8]


def test_the_band_ends_where_the_arms_of_many_do_not_reach(
    people: People, recording: Callable[..., RecordingEvidence]
) -> None:
    given = people(4, 6)
    values = np.stack([curves.values for curves in given[0].curves])
    values[:, :, :, -2:] = np.nan
    given[0] = recording("E01", values)

    band = build_reference(given, QUICK).bands["force_N"].ways[PhaseName.LOWER]

    assert band.low[-2:] == (None, None)
    assert None not in band.low[:-2]


def test_several_recordings_of_one_expert_are_put_together(
    people: People, recording: Callable[..., RecordingEvidence]
) -> None:
    given = people(4, 3)
    again = [
        recording(one.person, np.stack([curves.values for curves in one.curves]), file=f"{i}.h5")
        for i, one in enumerate(given)
    ]

    reference = build_reference([*given, *again], QUICK)

    assert [expert.repetitions for expert in reference.experts] == [6, 6, 6, 6]
    assert len(reference.recordings) == 8


def test_what_differs_between_sessions_of_an_expert_is_spread_within(
    people: People, recording: Callable[..., RecordingEvidence]
) -> None:
    first = people(4)
    second = []
    for one in first:
        values = np.stack([curves.values for curves in one.curves])
        values[:, 2] += 6.0  # newtons: harder on another day
        second.append(recording(one.person, values, file=f"{one.person}_2.h5"))

    alone, pooled = build_reference(first, QUICK), build_reference([*first, *second], QUICK)

    within = [
        np.nanmean(as_array(one.bands["force_N"].ways[PhaseName.RAISE].sd_within) ** 2)
        for one in (alone, pooled)
    ]
    # Each repetition lies 3 N from the mean of both days; 4 × 11 degrees of freedom.
    assert within[1] == pytest.approx(within[0] * 40 / 44 + 4 * 12 * 9.0 / 44, rel=1e-6)


def test_what_does_not_fit_together_is_refused(
    people: People, recording: Callable[..., RecordingEvidence]
) -> None:
    given = people(4)
    values = np.stack([curves.values for curves in given[0].curves])

    for other, why in (
        (recording("", values, file="x.h5"), "x.h5: has no code"),
        (recording("E09", values, target=Target(glide_azimuth_deg=20.0)), "different targets"),
        (recording("E09", values[:0]), "E09.h5: has no finished repetition"),
        (given[0], "E01.h5 and E01.h5 are the same recording"),
    ):
        with pytest.raises(NotComparable, match=why):
            build_reference([*given, other], QUICK)
    with pytest.raises(NotComparable, match="no recording"):
        build_reference([], QUICK)


def one_aims_elsewhere(people: People, recording: Callable[..., RecordingEvidence]) -> Reference:
    given = people(4)
    values = np.stack([curves.values for curves in given[1].curves])
    values[:, 0] -= 40.0
    given[1] = recording("E02", values)
    return build_reference(given, QUICK)


def test_an_expert_who_aims_elsewhere_is_named_with_how_far(
    people: People, recording: Callable[..., RecordingEvidence]
) -> None:
    band = one_aims_elsewhere(people, recording).bands["azimuth_error_deg"]

    assert [one.code for one in band.apart] == ["E02"]
    assert band.apart[0].difference == pytest.approx(-40.0, abs=3.0)


def test_a_band_that_lets_anything_pass_says_so_and_the_others_do_not(
    people: People, recording: Callable[..., RecordingEvidence]
) -> None:
    reference = one_aims_elsewhere(people, recording)
    wide = reference.bands.pop("azimuth_error_deg")

    assert wide.too_wide
    assert wide.half_width > wide.limit == 2.0 * reference.target.cone_deg
    assert not any(band.too_wide or band.apart for band in reference.bands.values())


def test_an_amount_whose_band_reaches_down_to_nothing_is_too_wide(
    people: People, recording: Callable[..., RecordingEvidence]
) -> None:
    given = []
    for step, one in enumerate(people(4)):
        values = np.stack([curves.values for curves in one.curves])
        values[:, 2] += 20.0 * step - 30.0
        given.append(recording(one.person, values))

    band = build_reference(given, QUICK).bands["force_N"]

    assert band.too_wide
    assert min(one for one in band.ways[PhaseName.RAISE].low if one is not None) < 0.0
    assert band.apart == ()
    assert band.furthest is not None
    assert band.furthest.code in ("E01", "E04")
