from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.comparison.against_band import against_band
from analysis.comparison.performance import Performance
from analysis.errors import NotComparable
from analysis.reference.model import Reference, as_array
from analysis.trial import PhaseName

Floats = NDArray[np.float64]
Make = Callable[..., Performance]

SUPERIOR, FORCE = 1, 2


def experts_like(reference: Reference, repetitions: int = 6) -> Floats:
    """Return repetitions that are the experts' mean everywhere."""
    one = np.stack(
        [
            [as_array(band.ways[way].mean) for way in (PhaseName.RAISE, PhaseName.LOWER)]
            for band in reference.bands.values()
        ]
    )
    return np.repeat(one[np.newaxis], repetitions, axis=0)


def test_the_experts_own_mean_lies_inside_with_no_difference(
    reference: Reference, performance: Make
) -> None:
    for one in against_band(performance([experts_like(reference)]), reference):
        assert one.inside_percent == 100.0
        assert (one.repetitions_inside, one.repetitions_whole, one.repetitions) == (6, 6, 6)
        assert one.rms_difference == pytest.approx(0.0, abs=1e-5)
        assert one.excursions == ()


def test_an_upward_slip_on_a_part_of_the_raise_is_told_with_place_size_and_side(
    reference: Reference, performance: Make
) -> None:
    """The slip is made: 2, 5 and 3 degrees above the band in three bins from 50° to 65°."""
    values = experts_like(reference)
    high = as_array(reference.bands["superior_angle_deg"].ways[PhaseName.RAISE].high)
    values[:, SUPERIOR, 0, 10:13] = high[10:13] + np.array([2.0, 5.0, 3.0])

    found = against_band(performance([values]), reference)

    (excursion,) = found[SUPERIOR].excursions
    assert (excursion.way, excursion.above) == (PhaseName.RAISE, True)
    assert (excursion.from_deg, excursion.to_deg) == (50.0, 65.0)
    assert excursion.greatest == pytest.approx(5.0)
    assert excursion.greatest_at_deg == 57.5
    assert excursion.u == pytest.approx(0.7)
    assert excursion.repetitions == 6
    assert found[SUPERIOR].inside_percent == pytest.approx(100.0 * 37 / 40)
    assert found[SUPERIOR].repetitions_inside == 0
    assert found[SUPERIOR].outside.sum() == 3
    assert found[FORCE].excursions == ()


def test_a_press_too_light_on_the_way_down_is_below_the_band(
    reference: Reference, performance: Make
) -> None:
    values = experts_like(reference)
    low = as_array(reference.bands["force_N"].ways[PhaseName.LOWER].low)
    values[:4, FORCE, 1, :6] = low[:6] - 10.0

    (excursion,) = against_band(performance([values]), reference)[FORCE].excursions

    assert (excursion.way, excursion.above) == (PhaseName.LOWER, False)
    assert (excursion.from_deg, excursion.to_deg) == (0.0, 30.0)
    assert excursion.repetitions == 4


def test_single_repetitions_outside_show_though_the_mean_is_inside(
    reference: Reference, performance: Make
) -> None:
    values = experts_like(reference, 12)
    values[0, SUPERIOR, 0, 4] += 20.0
    values[1, SUPERIOR, 1, 4] -= 20.0

    found = against_band(performance([values]), reference)[SUPERIOR]

    assert found.excursions == ()
    assert found.repetitions_inside == 10


def test_the_root_mean_square_difference_is_that_of_the_means(
    reference: Reference, performance: Make
) -> None:
    values = experts_like(reference)
    values[:, FORCE, 0] += 3.0
    values[:, FORCE, 1] -= 4.0

    found = against_band(performance([values]), reference)[FORCE]

    assert found.mean_difference == pytest.approx(-0.5)
    assert found.rms_difference == pytest.approx(np.sqrt((9.0 + 16.0) / 2.0))


def test_what_is_not_known_is_neither_inside_nor_outside(
    reference: Reference, performance: Make
) -> None:
    values = experts_like(reference)
    values[:, :, 1, :10] = np.nan

    found = against_band(performance([values]), reference)[SUPERIOR]

    assert found.known_percent == 75.0
    assert found.inside_percent == 100.0
    assert (found.repetitions_whole, found.repetitions_inside) == (0, 0)


def test_nothing_known_at_all_is_no_number(reference: Reference, performance: Make) -> None:
    values = np.full_like(experts_like(reference), np.nan)
    values[:, FORCE] = 1.0  # a measure of something there must be

    found = against_band(performance([values]), reference)[SUPERIOR]

    assert (found.inside_percent, found.rms_difference, found.known_percent) == (None, None, 0.0)


def test_several_people_count_alike_however_often_they_tried(
    reference: Reference, performance: Make
) -> None:
    few, many = experts_like(reference, 2), experts_like(reference, 10)
    many[:, FORCE] += 8.0

    found = against_band(performance([few, many]), reference)[FORCE]

    assert found.mean_difference == pytest.approx(4.0)


def test_another_grid_is_refused(reference: Reference, performance: Make) -> None:
    given = performance([experts_like(reference)])
    object.__setattr__(given, "elevation_deg", given.elevation_deg + 1.0)

    with pytest.raises(NotComparable, match="different bins of elevation"):
        against_band(given, reference)
