"""What a study says in words: of who counts, of variability, of learning."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.study.findings import MeasureFindings, findings
from analysis.study.sample import PHASE_OF, Done, Gathering, Sample, sample_of
from analysis.tidy.practice import PRACTICE, RETENTION, TRANSFER
from analysis.trial import PhaseName
from ui.counted import notices
from ui.learned import learner_in_words
from ui.studied import component_in_words, contrast_in_words, sentences

KEY = "off_axis_mean_deg"
TABLES = "In the tables and not in the statistics: "
SIDES = (
    "Practice was on both sides (2 repetitions: 1 left, 1 right) and is taken together: a "
    "difference of sides counts as variability."
)
EXPERTS = (
    "Variability, reliability and learning are those of the trainees; in the table of the class "
    "and among the groups alone: E01."
)


def done(
    person: str, session: int, practised: int, value: float, role: str = PRACTICE, **other: float
) -> Done:
    values = {**dict.fromkeys(PHASE_OF, value), **other}
    return Done(person, person[:1], session, role, "", practised, values)


def class_of(
    people: int = 6, sessions: int = 3, *, gain: float = 0.0, tests: bool = False, **other: float
) -> list[Done]:
    """Twelve repetitions a day, days and repetitions with an SD of 1, people of 3."""
    rng = np.random.default_rng(8)
    made = []
    for who in range(people):
        person, level, practised = f"T{who:02}", 20.0 + 3.0 * rng.normal(), 0
        for session in range(1, sessions + 1):
            today = level + rng.normal()
            for _ in range(12):
                practised += 1
                value = today + gain * np.exp(-(practised - 1) / 5) + rng.normal()
                made.append(done(person, session, practised, float(value), PRACTICE, **other))
        for role in (RETENTION, TRANSFER) if tests else ():
            for _ in range(4):
                value = level + 15.0 * (role == TRANSFER) + rng.normal()
                made.append(done(person, sessions + 1, practised, float(value), role))
    return made


def of(made: list[Done], key: str = KEY) -> MeasureFindings:
    return next(one for one in findings(made) if one.key == key)


def told_of(made: list[Done], begins: str) -> list[str]:
    return [one for one in sentences(findings(made)) if one.startswith(begins)]


def test_a_measure_that_never_differs_has_no_variability_and_teaches_nobody() -> None:
    (told,) = told_of(class_of(hold_coverage_percent=100.0), "Hold coverage")

    assert told == "Hold coverage: no variability, every repetition has 100.0 %."


def test_people_and_days_are_not_told_apart_where_everyone_came_once() -> None:
    (told,) = [one for one in told_of(class_of(sessions=1), "Off-axis") if "variability" in one]

    assert "between people or between their days, which cannot be told apart" in told
    assert "teach the person" not in told
    assert "on different days" not in told


def test_days_of_one_person_are_told_between_one_day_and_two_people() -> None:
    (told,) = [one for one in told_of(class_of(), "Off-axis") if "variability" in one]

    assert "between people: teach the person" in told
    assert "; on different days by less than " in told


def test_everyone_tested_is_counted_and_transfer_is_put_into_words() -> None:
    (told,) = [one for one in told_of(class_of(tests=True), "Off-axis") if "learning" in one]

    assert "retention in 0 of 6 tested and transfer in 6 of 6 tested differed" in told


def test_a_curve_says_which_way_it_leads() -> None:
    worse = [one for one in told_of(class_of(gain=-12.0), "Off-axis") if "learning" in one]

    assert worse == [
        "Off-axis: a learning curve is to be seen in 6 of 6 people (6 rising; less is better)."
    ]


def test_each_learner_has_numbers_with_intervals_that_no_line_tears() -> None:
    found = of(class_of(gain=12.0, tests=True))

    for one in found.learning:
        words = learner_in_words(KEY, one)
        assert words.change.startswith("−")
        assert words.transfer.startswith("+1")
        assert "\u00a0to\u00a0" in words.retention
        assert words.plateau != "—"


def test_who_cannot_be_told_of_has_the_reason_in_place_of_a_number() -> None:
    made = [one for one in class_of(people=2, sessions=1, tests=True) if one.person == "T00"]
    made += [done("T01", 1, 1, 20.0)]

    found = of(made)

    words = [learner_in_words(KEY, one) for one in found.learning]
    assert words[0].retention.startswith("how much days differ is not known")
    assert words[1].change.endswith("and there are 1")
    assert words[1].retention == "—"
    (told,) = [one for one in told_of(made, "Off-axis") if "learning" in one]
    assert "of the retention of 1 person nothing can be told: how much days differ" in told


def test_a_part_below_zero_keeps_its_upper_limit() -> None:
    rng = np.random.default_rng(3)
    made = [
        done(f"T{who}", day, 1, float(rng.normal())) for who in range(5) for day in (1, 2, 2, 1)
    ]
    parts = of(made).variability
    assert parts is not None
    below = [one for one in parts.parts if one.negative]

    assert below
    for one in below:
        assert component_in_words(KEY, one).startswith("0 (estimate negative; up to ")


def test_a_comparison_has_its_size_and_its_chance_among_all() -> None:
    found = of(class_of(tests=True))

    words = [contrast_in_words(KEY, one) for one in found.conditions]

    assert [one.who for one in words] == [
        "retention minus last practice (6 people, each with both)",
        "transfer minus last practice (6 people, each with both)",
    ]
    assert [one.told for one in words] == ["no", "yes"]
    assert words[1].size.startswith("+")
    assert words[1].chances.startswith("below 0.001, ")


def sample(*rows: dict[str, object], persons: tuple[str, ...] = ("T01",)) -> Sample:
    gathered = Gathering()
    for row in rows:
        gathered(
            {
                "person": "T01", "group": "T", "session": 1, "role": PRACTICE, "condition": "",
                "practised": 1, "phase": PhaseName.MOVEMENT.value, "complete": True,
                "side": "right", "target": "a", **dict.fromkeys(PHASE_OF, 1.0), **row,
            }
        )  # fmt: skip
    return sample_of(gathered, persons)


@pytest.mark.parametrize(
    ("rows", "persons", "said"),
    [
        ([{}], ("T01",), []),
        (
            [{}, {"complete": False}],
            ("T01",),
            [f"{TABLES}1 unfinished repetition."],
        ),
        (
            [{}, {"person": ""}],
            ("T01", ""),
            [f"{TABLES}1 recording without a person's code (1 repetition): nobody knows whose."],
        ),
        ([{}], ("T01", "T04"), ["No repetition that counts: T04."]),
        (
            [{}, {"side": "left"}],
            ("T01",),
            [SIDES],
        ),
        (
            [{}, {"person": "E01", "group": "E"}],
            ("T01", "E01"),
            [EXPERTS],
        ),
    ],
)
def test_who_does_not_count_is_said(
    rows: list[dict[str, object]], persons: tuple[str, ...], said: list[str]
) -> None:
    assert notices(sample(*rows, persons=persons)) == said


def test_another_target_is_said_and_what_to_do() -> None:
    (told,) = notices(sample({}, {}, {"target": "b"}))

    assert told == (
        f"{TABLES}1 repetition measured against another target (--target measures all against one)."
    )
