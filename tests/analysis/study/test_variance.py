"""Variance components: closed forms, the mixed model beside them, intervals, edges."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.errors import StudyError
from analysis.study.reliability import intraclass
from analysis.study.variance import Components, components

Floats = NDArray[np.float64]

PUBLISHED = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float
)
"""Shrout & Fleiss 1979, Psychological Bulletin 86:420, table 2."""


def nested(
    rng: np.random.Generator, shape: tuple[int, int, int], sds: tuple[float, float, float]
) -> Floats:
    """Return values of shape (people, sessions, repetitions)."""
    people, sessions, repetitions = shape
    return np.asarray(
        20.0
        + sds[0] * rng.normal(size=(people, 1, 1))
        + sds[1] * rng.normal(size=(people, sessions, 1))
        + sds[2] * rng.normal(size=(people, sessions, repetitions))
    )


def found_in(values: Floats) -> Components:
    who, when, _ = np.indices(values.shape)
    codes = [f"T{number:02}" for number in who.ravel()]
    return components(values.ravel(), codes, when.ravel().tolist())


def closed_form(values: Floats) -> tuple[float, float, float]:
    """Return the components of a balanced design from its expected mean squares."""
    _, sessions, repetitions = values.shape
    of_session, of_person = values.mean(axis=2), values.mean(axis=(1, 2))
    ms_rest = values.var(axis=2, ddof=1).mean()
    ms_sessions = repetitions * of_session.var(axis=1, ddof=1).mean()
    ms_people = sessions * repetitions * of_person.var(ddof=1)
    return (
        float((ms_people - ms_sessions) / (sessions * repetitions)),
        float((ms_sessions - ms_rest) / repetitions),
        float(ms_rest),
    )


@pytest.mark.parametrize("seed", range(5))
def test_a_balanced_design_gives_the_closed_form_and_so_does_the_mixed_model(seed: int) -> None:
    # The textbook's expected mean squares, and REML by statsmodels: equal where nothing is < 0.
    values = nested(np.random.default_rng(seed), (8, 3, 4), (3.0, 2.0, 1.0))

    found = found_in(values)

    wanted = closed_form(values)
    assert min(wanted) > 0.0
    assert [part.estimate for part in found.parts] == pytest.approx(wanted, rel=1e-9)
    assert [part.reml for part in found.parts] == pytest.approx(wanted, rel=1e-3)
    assert found.balanced
    assert (found.people, found.sessions, found.values) == (8, 24, 96)


def test_one_session_of_the_published_table_gives_its_mean_squares() -> None:
    """Between 11.24, within 6.26 (their table 3); so (11.24 - 6.26) / 4 between people."""
    found = found_in(PUBLISHED[:, np.newaxis, :])

    assert found.session is None
    assert found.repetition.estimate == pytest.approx(6.26, abs=0.005)
    assert found.person.estimate == pytest.approx((11.24 - 6.26) / 4, abs=0.005)
    share = found.person.variance / (found.person.variance + found.repetition.variance)
    assert share == pytest.approx(intraclass(PUBLISHED)[0].value)


def test_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    sds, held = (2.0, 1.0, 1.5), np.zeros(3)
    for seed in range(200):
        parts = found_in(nested(np.random.default_rng(seed), (6, 2, 3), sds)).parts
        held += [part.low <= sd**2 <= part.high for part, sd in zip(parts, sds, strict=True)]

    assert (held / 200 > 0.91).all()
    assert (held / 200 <= 0.99).all()


def test_people_who_do_not_differ_give_nought_and_say_that_it_was_below() -> None:
    values = np.array([[[0.0, 4.0], [5.0, 1.0]], [[1.0, 3.0], [2.0, 4.0]]])

    found = found_in(values)

    assert found.person.negative
    assert (found.person.variance, found.person.low) == (0.0, 0.0)
    assert found.share_percent(found.person) == 0.0


def test_in_an_unbalanced_design_both_ways_are_near_each_other_and_the_truth() -> None:
    rng = np.random.default_rng(11)
    values = nested(rng, (40, 3, 6), (3.0, 2.0, 1.0))
    values[rng.random(values.shape) < 0.25] = np.nan

    found = found_in(values)

    assert not found.balanced
    for part, sd in zip(found.parts, (3.0, 2.0, 1.0), strict=True):
        assert part.estimate == pytest.approx(sd**2, rel=0.5)
        assert part.reml == pytest.approx(part.estimate, rel=0.1)


@pytest.mark.parametrize(
    "sds", [(2.0, 0.0, 1.0), (2.0, 0.5, 1.0), (0.1, 1.0, 1.0), (0.0, 0.0, 1.0)]
)
def test_the_mixed_model_has_an_answer_in_every_design_zero_too(
    sds: tuple[float, float, float],
) -> None:
    for seed in range(12):
        values = nested(np.random.default_rng(seed), (8, 3, 6), sds)
        values[np.random.default_rng(seed).random(values.shape) < 0.1 * (seed % 2)] = np.nan

        found = found_in(values)

        assert found.reml_reason == ""
        assert all(part.reml is not None and part.reml >= 0.0 for part in found.parts)
        if found.balanced and not any(part.negative for part in found.parts):
            estimates = [part.estimate for part in found.parts]
            assert [part.reml for part in found.parts] == pytest.approx(estimates, rel=1e-4)
        elif found.balanced and found.session is not None and found.session.negative:
            # Without sessions the design is balanced still, and its closed form the answer.
            assert found.session.reml == pytest.approx(0.0, abs=1e-6)
            flat = found_in(values.reshape(8, 1, 18))
            if not flat.person.negative:
                assert found.person.reml == pytest.approx(flat.person.estimate, rel=1e-4)


def test_the_mixed_model_of_an_unbalanced_design_is_that_of_the_library() -> None:
    library = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    pandas = pytest.importorskip("pandas")
    rng = np.random.default_rng(3)
    values = nested(rng, (9, 3, 5), (2.0, 1.0, 1.0))
    values[rng.random(values.shape) < 0.3] = np.nan
    who, when = np.indices(values.shape)[:2]
    known = np.isfinite(values)

    found = found_in(values)

    sessions = {"session": "0 + C(when)"}
    fit = library.MixedLM.from_formula(
        "y ~ 1",
        pandas.DataFrame({"y": values[known], "who": who[known], "when": when[known]}),
        groups="who", re_formula="1", vc_formula=sessions,
    ).fit(reml=True)  # fmt: skip
    wanted = float(fit.cov_re.iloc[0, 0]), float(fit.vcomp[0]), float(fit.scale)
    assert [part.reml for part in found.parts] == pytest.approx(wanted, rel=2e-3)


def test_values_without_any_spread_have_no_mixed_model_and_say_so() -> None:
    found = found_in(np.full((4, 2, 3), 100.0))

    assert [part.reml for part in found.parts] == [None, None, None]
    assert found.reml_reason == "repetitions do not differ, so there is no likelihood"
    assert not found.varies


def test_the_three_spreads_are_sums_of_the_parts() -> None:
    found = found_in(nested(np.random.default_rng(1), (8, 3, 4), (3.0, 2.0, 1.0)))
    assert found.session is not None
    person, session, rest = (part.variance for part in found.parts)

    assert found.repeatability_sd == pytest.approx(np.sqrt(rest))
    assert found.intermediate_sd == pytest.approx(np.sqrt(rest + session))
    assert found.reproducibility_sd == pytest.approx(np.sqrt(rest + session + person))
    assert sum(found.share_percent(part) for part in found.parts) == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("shape", "said"), [((1, 2, 3), "needs two people"), ((4, 1, 1), "needs repetitions")]
)
def test_what_shows_no_part_is_refused(shape: tuple[int, int, int], said: str) -> None:
    with pytest.raises(StudyError, match=said):
        found_in(nested(np.random.default_rng(1), shape, (1.0, 1.0, 1.0)))
